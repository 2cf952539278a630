package pdu

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
)

// Address is a number or name with its kind (§5.2.5, §5.2.6).
type Address struct {
	TON, NPI byte
	Addr     string
}

// The types of number and the numbering plans that are used here.
const (
	TONUnknown       = 0
	TONInternational = 1
	TONAlphanumeric  = 5
	NPIUnknown       = 0
	NPIE164          = 1
)

// The bits of esm_class (§5.2.12).
const (
	ESMReceipt      = 0x04 // deliver_sm: a delivery receipt
	ESMIntermediate = 0x20 // deliver_sm: an intermediate notification
	ESMUDHI         = 0x40 // the message begins with a user data header
	esmTypeMask     = 0x3C
)

// SM is the body of a submit_sm and of a deliver_sm (§4.4.1, §4.6.1), and what
// a data_sm has of it.
type SM struct {
	ServiceType   string
	Source, Dest  Address
	ESM           byte
	Protocol      byte
	Priority      byte
	Schedule      string
	Validity      string // see the time format of §7.1.1
	Registered    byte
	Replace       byte
	Coding        byte
	DefaultID     byte
	Short         []byte // 0 to 254 octets
	TLVs          TLVs
	BrokenOptions bool // a TLV broke off; those before it are in TLVs
}

// IsReceipt says whether the message type bits of esm_class are those of a
// delivery receipt or of an intermediate notification.
func (m *SM) IsReceipt() bool {
	t := m.ESM & esmTypeMask
	return t == ESMReceipt || t == ESMIntermediate
}

// Payload is the message wherever it stands: in short_message or, where that is
// empty, in message_payload (§4.4.1: never in both).
func (m *SM) Payload() []byte {
	if len(m.Short) > 0 {
		return m.Short
	}
	p, _ := m.TLVs.Get(TagMessagePayload)
	return p
}

// ErrTooLong says that a field is longer than the specification lets it be.
var ErrTooLong = errors.New("the field is too long")

// Append appends a submit_sm or deliver_sm.
func (m *SM) Append(dst []byte, h Header) ([]byte, error) {
	start := len(dst)
	dst = open(dst, h)
	var errs [6]error
	dst, errs[0] = cstring(dst, "service_type", m.ServiceType, 6)
	dst = append(dst, m.Source.TON, m.Source.NPI)
	dst, errs[1] = cstring(dst, "source_addr", m.Source.Addr, 21)
	dst = append(dst, m.Dest.TON, m.Dest.NPI)
	dst, errs[2] = cstring(dst, "destination_addr", m.Dest.Addr, 21)
	dst = append(dst, m.ESM, m.Protocol, m.Priority)
	dst, errs[3] = cstring(dst, "schedule_delivery_time", m.Schedule, 17)
	dst, errs[4] = cstring(dst, "validity_period", m.Validity, 17)
	if len(m.Short) > 254 {
		errs[5] = fmt.Errorf("short_message of %d octets: %w", len(m.Short), ErrTooLong)
	}
	if err := errors.Join(errs[:]...); err != nil {
		return dst[:start], err
	}
	dst = append(dst, m.Registered, m.Replace, m.Coding, m.DefaultID, byte(len(m.Short)))
	dst = append(dst, m.Short...)
	dst, err := m.TLVs.append(dst)
	if err != nil {
		return dst[:start], err
	}
	return finish(dst, start), nil
}

// ParseSM reads the body of a submit_sm or deliver_sm. Short and the TLVs' values
// lie in body. A TLV that breaks off is left out and said in BrokenOptions: what
// stands before it is good.
func ParseSM(body []byte) (SM, error) {
	c := cursor{b: body}
	var m SM
	m.ServiceType = c.cstring()
	m.Source = c.address()
	m.Dest = c.address()
	m.ESM, m.Protocol, m.Priority = c.byte(), c.byte(), c.byte()
	m.Schedule, m.Validity = c.cstring(), c.cstring()
	m.Registered, m.Replace, m.Coding, m.DefaultID = c.byte(), c.byte(), c.byte(), c.byte()
	m.Short = c.take(int(c.byte()))
	if c.bad {
		return m, fmt.Errorf("short message: %w", ErrBody)
	}
	m.TLVs = c.tlvs()
	m.BrokenOptions = c.bad
	return m, nil
}

// ParseDataSM reads the body of a data_sm (§4.7.1), by which some centres
// deliver.
func ParseDataSM(body []byte) (SM, error) {
	c := cursor{b: body}
	var m SM
	m.ServiceType = c.cstring()
	m.Source = c.address()
	m.Dest = c.address()
	m.ESM, m.Registered, m.Coding = c.byte(), c.byte(), c.byte()
	if c.bad {
		return m, fmt.Errorf("data_sm: %w", ErrBody)
	}
	m.TLVs = c.tlvs()
	m.BrokenOptions = c.bad
	return m, nil
}

// Tag names an optional parameter (§5.3.2).
type Tag uint16

// The optional parameters that are used here.
const (
	TagReceiptedID      Tag = 0x001E // C-octet string
	TagUserReference    Tag = 0x0204 // 2 octets
	TagSarRef           Tag = 0x020C // 2 octets
	TagSarTotal         Tag = 0x020E // 1 octet
	TagSarSeq           Tag = 0x020F // 1 octet
	TagInterfaceVersion Tag = 0x0210 // 1 octet
	TagNetworkError     Tag = 0x0423 // 3 octets: network type, 2 octets code
	TagMessagePayload   Tag = 0x0424
	TagMoreMessages     Tag = 0x0426 // 1 octet
	TagMessageState     Tag = 0x0427 // 1 octet
	maxTLVs                 = 64
	maxTLVLen               = 0xFFFF
)

// TLV is one optional parameter.
type TLV struct {
	Tag   Tag
	Value []byte
}

// TLVs are the optional parameters of one PDU in their order.
type TLVs []TLV

// Get returns the first parameter of that tag.
func (t TLVs) Get(tag Tag) ([]byte, bool) {
	for _, v := range t {
		if v.Tag == tag {
			return v.Value, true
		}
	}
	return nil, false
}

// Byte returns a parameter of one octet; false where it is missing or of
// another length.
func (t TLVs) Byte(tag Tag) (byte, bool) {
	v, ok := t.Get(tag)
	if !ok || len(v) != 1 {
		return 0, false
	}
	return v[0], true
}

// Uint16 returns a parameter of two octets. One octet counts too: some centres
// send sar_msg_ref_num so.
func (t TLVs) Uint16(tag Tag) (uint16, bool) {
	v, _ := t.Get(tag)
	switch len(v) {
	case 1:
		return uint16(v[0]), true
	case 2:
		return binary.BigEndian.Uint16(v), true
	}
	return 0, false
}

// CString returns a text parameter without its closing NUL, which some centres
// leave out.
func (t TLVs) CString(tag Tag) (string, bool) {
	v, ok := t.Get(tag)
	for i, b := range v {
		if b == 0 {
			return string(v[:i]), ok
		}
	}
	return string(v), ok
}

func (t TLVs) append(dst []byte) ([]byte, error) {
	for _, v := range t {
		if len(v.Value) > maxTLVLen {
			return dst, fmt.Errorf("TLV %04X of %d octets: %w", uint16(v.Tag), len(v.Value), ErrTooLong)
		}
		dst = binary.BigEndian.AppendUint16(dst, uint16(v.Tag))
		dst = binary.BigEndian.AppendUint16(dst, uint16(len(v.Value)))
		dst = append(dst, v.Value...)
	}
	return dst, nil
}

// cursor walks over a body. Once bad, it gives nothing more.
type cursor struct {
	b   []byte
	bad bool
}

func (c *cursor) byte() byte {
	if c.bad || len(c.b) == 0 {
		c.bad = true
		return 0
	}
	v := c.b[0]
	c.b = c.b[1:]
	return v
}

func (c *cursor) take(n int) []byte {
	if c.bad || n > len(c.b) {
		c.bad = true
		return nil
	}
	v := c.b[:n:n]
	c.b = c.b[n:]
	return v
}

// cstring reads up to a NUL. The lengths of the specification are no reason to
// lose a text, so they are not held against what comes in.
func (c *cursor) cstring() string {
	if i := bytes.IndexByte(c.b, 0); !c.bad && i >= 0 {
		v := string(c.b[:i])
		c.b = c.b[i+1:]
		return v
	}
	c.bad = true
	return ""
}

// lastString reads up to a NUL, or to the end of the body where there is none.
func (c *cursor) lastString() string {
	if bytes.IndexByte(c.b, 0) >= 0 {
		return c.cstring()
	}
	v := string(c.b)
	c.b = nil
	return v
}

func (c *cursor) address() Address {
	ton, npi := c.byte(), c.byte()
	return Address{TON: ton, NPI: npi, Addr: c.cstring()}
}

func (c *cursor) tlvs() TLVs {
	var out TLVs
	for !c.bad && len(c.b) > 0 && len(out) < maxTLVs {
		head := c.take(4)
		if c.bad {
			break
		}
		v := c.take(int(binary.BigEndian.Uint16(head[2:])))
		if c.bad {
			break
		}
		out = append(out, TLV{Tag: Tag(binary.BigEndian.Uint16(head)), Value: v})
	}
	return out
}

// cstring appends s and a NUL; size is that of the field with its NUL.
func cstring(dst []byte, field, s string, size int) ([]byte, error) {
	if len(s) >= size {
		return dst, fmt.Errorf("%s of %d octets, %d at most: %w", field, len(s), size-1, ErrTooLong)
	}
	for i := range len(s) {
		if s[i] == 0 {
			return dst, fmt.Errorf("%s: a NUL within", field)
		}
	}
	dst = append(dst, s...)
	return append(dst, 0), nil
}
