// Package pdu reads and writes the protocol data units of SMPP v3.4 (Short
// Message Peer to Peer, Issue 1.2 of 12-Oct-1999) that a client needs: bind,
// submit_sm, deliver_sm, data_sm, enquire_link, unbind and generic_nack.
// Numbers are big-endian. Nothing here panics, whatever the octets are, and
// nothing is allocated for a length that was only claimed.
package pdu

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
)

// ID is a command_id (§5.1.2.1). A response has the request's id with the top
// bit set.
type ID uint32

// The commands that are known here.
const (
	BindReceiver    ID = 0x01
	BindTransmitter ID = 0x02
	SubmitSM        ID = 0x04
	DeliverSM       ID = 0x05
	Unbind          ID = 0x06
	BindTransceiver ID = 0x09
	Outbind         ID = 0x0B
	EnquireLink     ID = 0x15
	Alert           ID = 0x102
	DataSM          ID = 0x103
	Nack            ID = 0x80000000
)

const respBit ID = 0x80000000

// Resp is the id of the answer to a request.
func (id ID) Resp() ID { return id | respBit }

// IsResp says whether id is that of an answer (generic_nack is one).
func (id ID) IsResp() bool { return id&respBit != 0 }

// String names the command as the specification does.
func (id ID) String() string {
	name := ""
	switch id &^ respBit {
	case BindReceiver:
		name = "bind_receiver"
	case BindTransmitter:
		name = "bind_transmitter"
	case BindTransceiver:
		name = "bind_transceiver"
	case SubmitSM:
		name = "submit_sm"
	case DeliverSM:
		name = "deliver_sm"
	case DataSM:
		name = "data_sm"
	case Unbind:
		name = "unbind"
	case Outbind:
		name = "outbind"
	case EnquireLink:
		name = "enquire_link"
	case Alert:
		name = "alert_notification"
	case 0:
		if id == Nack {
			return "generic_nack"
		}
	}
	if name == "" {
		return fmt.Sprintf("command 0x%08X", uint32(id))
	}
	if id.IsResp() {
		name += "_resp"
	}
	return name
}

// Header is the first 16 octets of every PDU (§3.2).
type Header struct {
	ID     ID
	Status Status
	// Seq is 1 to MaxSeq in a request; an answer repeats it.
	Seq uint32
}

// MaxSeq is the highest sequence_number (§5.1.4).
const MaxSeq = 0x7FFFFFFF

const (
	headerLen = 16
	// MaxLen is the longest PDU that is read: a message_payload of 64 KiB with
	// the fields and the TLVs around it.
	MaxLen = 80 << 10
)

// ErrLength says that a command_length cannot be: the octets that follow are no
// PDU, and the connection is of no more use.
var ErrLength = errors.New("the peer sent a command_length that cannot be")

// ErrBody says that the body of a PDU is not what its command asks for.
var ErrBody = errors.New("the body of the PDU breaks off or is malformed")

// Reader reads PDUs off a stream.
type Reader struct {
	r    io.Reader
	head [headerLen]byte
	buf  []byte
}

// NewReader reads from r, which should be buffered.
func NewReader(r io.Reader) *Reader { return &Reader{r: r} }

// Next reads one PDU. The body is valid until the next call. The error is
// ErrLength, or that of the stream; io.EOF only between two PDUs.
func (r *Reader) Next() (Header, []byte, error) {
	if _, err := io.ReadFull(r.r, r.head[:]); err != nil {
		return Header{}, nil, err
	}
	n := binary.BigEndian.Uint32(r.head[0:4])
	h := Header{
		ID:     ID(binary.BigEndian.Uint32(r.head[4:8])),
		Status: Status(binary.BigEndian.Uint32(r.head[8:12])),
		Seq:    binary.BigEndian.Uint32(r.head[12:16]),
	}
	if n < headerLen || n > MaxLen {
		return h, nil, fmt.Errorf("%w: %d octets", ErrLength, n)
	}
	body := int(n) - headerLen
	if cap(r.buf) < body {
		r.buf = make([]byte, body, max(body, 512))
	}
	r.buf = r.buf[:body]
	if _, err := io.ReadFull(r.r, r.buf); err != nil {
		if errors.Is(err, io.EOF) {
			err = io.ErrUnexpectedEOF
		}
		return h, nil, err
	}
	return h, r.buf, nil
}

// open appends a header whose length close fills in.
func open(dst []byte, h Header) []byte {
	dst = append(dst, 0, 0, 0, 0)
	dst = binary.BigEndian.AppendUint32(dst, uint32(h.ID))
	dst = binary.BigEndian.AppendUint32(dst, uint32(h.Status))
	return binary.BigEndian.AppendUint32(dst, h.Seq)
}

func finish(dst []byte, start int) []byte {
	binary.BigEndian.PutUint32(dst[start:], uint32(len(dst)-start))
	return dst
}

// AppendBare appends a PDU without a body: enquire_link, unbind, generic_nack,
// their answers, and the refusal of anything.
func AppendBare(dst []byte, h Header) []byte {
	start := len(dst)
	return finish(open(dst, h), start)
}

// AppendMessageResp appends a submit_sm_resp, deliver_sm_resp or data_sm_resp
// with a message_id, which is empty for deliver_sm (§4.6.2).
func AppendMessageResp(dst []byte, h Header, id string) ([]byte, error) {
	start := len(dst)
	dst, err := cstring(open(dst, h), "message_id", id, 65)
	if err != nil {
		return dst[:start], err
	}
	return finish(dst, start), nil
}

// MessageID reads the message_id of a submit_sm_resp (§4.4.2). A body that is
// not there is an empty id: a refusal has none, and some centres leave it out.
func MessageID(body []byte) (string, error) {
	if len(body) == 0 {
		return "", nil
	}
	c := cursor{b: body}
	id := c.cstring()
	if c.bad {
		return "", fmt.Errorf("message_id: %w", ErrBody)
	}
	return id, nil
}

// Bind is the body of the three bind requests (§4.1).
type Bind struct {
	SystemID, Password, SystemType string
	TON, NPI                       byte
	AddressRange                   string
}

// Version34 is interface_version 3.4.
const Version34 = 0x34

// Append appends the request.
func (b Bind) Append(dst []byte, h Header) ([]byte, error) {
	start := len(dst)
	dst = open(dst, h)
	var errs [4]error
	dst, errs[0] = cstring(dst, "system_id", b.SystemID, 16)
	dst, errs[1] = cstring(dst, "password", b.Password, 9)
	dst, errs[2] = cstring(dst, "system_type", b.SystemType, 13)
	dst = append(dst, Version34, b.TON, b.NPI)
	dst, errs[3] = cstring(dst, "address_range", b.AddressRange, 41)
	if err := errors.Join(errs[:]...); err != nil {
		return dst[:start], err
	}
	return finish(dst, start), nil
}

// ParseBind reads a bind request.
func ParseBind(body []byte) (Bind, error) {
	c := cursor{b: body}
	var b Bind
	b.SystemID, b.Password, b.SystemType = c.cstring(), c.cstring(), c.cstring()
	c.byte()
	b.TON, b.NPI = c.byte(), c.byte()
	b.AddressRange = c.cstring()
	if c.bad {
		return b, fmt.Errorf("bind: %w", ErrBody)
	}
	return b, nil
}

// BindResp is the body of the answer to a bind.
type BindResp struct {
	SystemID string
	// Version is the centre's sc_interface_version; 0 where it does not say.
	Version byte
}

// ParseBindResp reads the answer to a bind. A body that is not there is an
// empty one.
func ParseBindResp(body []byte) (BindResp, error) {
	if len(body) == 0 {
		return BindResp{}, nil
	}
	c := cursor{b: body}
	r := BindResp{SystemID: c.lastString()}
	if c.bad {
		return r, fmt.Errorf("bind_resp: %w", ErrBody)
	}
	if v, ok := c.tlvs().Byte(TagInterfaceVersion); ok {
		r.Version = v
	}
	return r, nil
}
