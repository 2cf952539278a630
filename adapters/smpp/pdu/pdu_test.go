package pdu_test

import (
	"bytes"
	"encoding/hex"
	"errors"
	"io"
	"testing"

	gosmpp "github.com/linxGnu/gosmpp/pdu"
	"github.com/stretchr/testify/require"

	"passbell/adapters/smpp/pdu"
)

// The vectors stand in section 3 of the check values: the first is the example
// of the encyclopaedia article on SMPP (header computed), the others were
// computed apart from this code.
const (
	vecHello   = "0000003C000000040000000000000005000208353535000101353535353535353535000000000000000003000F48656C6C6F2057696B697065646961"
	vecKitchen = "000000550000000400000000000000070005004B49544348454E000101343437373030393030313233000000000000010000001B52656164793A2035204D696C6C204C616E652E201B6531322E3530020400020412"
	vecUDH     = "0000004F00000004000000000000000800010134343737303039303039393900010134343737303039303031323300400000000001000800160500032A0201005200650061006400790020D83DDE97"
	vecReceipt = "000000C00000000500000000000000030001013434373730303930303132330005004B49544348454E000400000000000000007969643A343339303431313031207375623A30303120646C7672643A303031207375626D697420646174653A3236303332393131333020646F6E6520646174653A3236303332393131333120737461743A44454C49565244206572723A30303020746578743A4F7264657220313034323A20636F6C6C65637420001E000A343339303431313031000427000102"
	vecEnquire = "00000010000000150000000000000009"
	vecAlive   = "00000010800000150000000000000009"
)

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	require.NoError(t, err)
	return b
}

func TestMessagesOfTheCheckValues(t *testing.T) {
	t.Parallel()
	international := func(n string) pdu.Address {
		return pdu.Address{TON: pdu.TONInternational, NPI: pdu.NPIE164, Addr: n}
	}
	kitchen := pdu.Address{TON: pdu.TONAlphanumeric, Addr: "KITCHEN"}
	tests := []struct {
		name string
		hex  string
		head pdu.Header
		want pdu.SM
	}{
		{
			name: "the article's example", hex: vecHello,
			head: pdu.Header{ID: pdu.SubmitSM, Seq: 5},
			want: pdu.SM{
				Source: pdu.Address{TON: 2, NPI: 8, Addr: "555"}, Dest: international("555555555"),
				Coding: 3, Short: []byte("Hello Wikipedia"),
			},
		},
		{
			name: "septets unpacked, with a reference", hex: vecKitchen,
			head: pdu.Header{ID: pdu.SubmitSM, Seq: 7},
			want: pdu.SM{
				Source: kitchen, Dest: international("447700900123"), Registered: 1,
				Short: []byte("Ready: 5 Mill Lane. \x1be12.50"),
				TLVs:  pdu.TLVs{{Tag: pdu.TagUserReference, Value: []byte{0x04, 0x12}}},
			},
		},
		{
			name: "user data header and UCS-2", hex: vecUDH,
			head: pdu.Header{ID: pdu.SubmitSM, Seq: 8},
			want: pdu.SM{
				Source: international("447700900999"), Dest: international("447700900123"),
				ESM: pdu.ESMUDHI, Registered: 1, Coding: 8,
				Short: []byte("\x05\x00\x03\x2a\x02\x01\x00R\x00e\x00a\x00d\x00y\x00 \xd8\x3d\xde\x97"),
			},
		},
		{
			name: "receipt", hex: vecReceipt,
			head: pdu.Header{ID: pdu.DeliverSM, Seq: 3},
			want: pdu.SM{
				Source: international("447700900123"), Dest: kitchen, ESM: pdu.ESMReceipt,
				Short: []byte("id:439041101 sub:001 dlvrd:001 submit date:2603291130 done date:2603291131 stat:DELIVRD err:000 text:Order 1042: collect "),
				TLVs: pdu.TLVs{
					{Tag: pdu.TagReceiptedID, Value: []byte("439041101\x00")},
					{Tag: pdu.TagMessageState, Value: []byte{2}},
				},
			},
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			raw := unhex(t, tt.hex)
			h, body, err := pdu.NewReader(bytes.NewReader(raw)).Next()
			require.NoError(t, err)
			require.Equal(t, tt.head, h)
			got, err := pdu.ParseSM(body)
			require.NoError(t, err)
			require.Equal(t, tt.want, got)

			out, err := got.Append(nil, h)
			require.NoError(t, err)
			require.Equal(t, raw, out, "written again it is the same octets")
		})
	}
}

func TestBare(t *testing.T) {
	t.Parallel()
	require.Equal(t, unhex(t, vecEnquire), pdu.AppendBare(nil, pdu.Header{ID: pdu.EnquireLink, Seq: 9}))
	require.Equal(t, unhex(t, vecAlive), pdu.AppendBare(nil, pdu.Header{ID: pdu.EnquireLink.Resp(), Seq: 9}))
}

// TestOtherLibrary checks what is written here against the decoder of another
// library.
func TestOtherLibrary(t *testing.T) {
	t.Parallel()
	bind := pdu.Bind{SystemID: "larkfield", Password: "dumpling", SystemType: "gate"}
	raw, err := bind.Append(nil, pdu.Header{ID: pdu.BindTransceiver, Seq: 1})
	require.NoError(t, err)
	got, err := gosmpp.Parse(bytes.NewReader(raw))
	require.NoError(t, err)
	req, ok := got.(*gosmpp.BindRequest)
	require.True(t, ok)
	require.Equal(t, "larkfield", req.SystemID)
	require.Equal(t, "dumpling", req.Password)
	require.Equal(t, "gate", req.SystemType)
	require.EqualValues(t, pdu.Version34, req.InterfaceVersion)

	again, err := pdu.ParseBind(raw[16:])
	require.NoError(t, err)
	require.Equal(t, bind, again)

	resp, err := pdu.AppendMessageResp(nil, pdu.Header{ID: pdu.SubmitSM.Resp(), Seq: 77}, "1A2B3C4D")
	require.NoError(t, err)
	got, err = gosmpp.Parse(bytes.NewReader(resp))
	require.NoError(t, err)
	answer, ok := got.(*gosmpp.SubmitSMResp)
	require.True(t, ok)
	require.Equal(t, "1A2B3C4D", answer.MessageID)
	require.EqualValues(t, 77, answer.SequenceNumber)
}

func TestFieldsThatAreTooLong(t *testing.T) {
	t.Parallel()
	long := string(bytes.Repeat([]byte("7"), 21))
	tests := []struct {
		name string
		do   func() error
	}{
		{name: "number", do: func() error {
			_, err := (&pdu.SM{Dest: pdu.Address{Addr: long}}).Append(nil, pdu.Header{ID: pdu.SubmitSM})
			return err
		}},
		{name: "message", do: func() error {
			_, err := (&pdu.SM{Short: make([]byte, 255)}).Append(nil, pdu.Header{ID: pdu.SubmitSM})
			return err
		}},
		{name: "option", do: func() error {
			_, err := (&pdu.SM{TLVs: pdu.TLVs{{Value: make([]byte, 1<<16)}}}).Append(nil, pdu.Header{})
			return err
		}},
		{name: "password", do: func() error {
			_, err := pdu.Bind{Password: "123456789"}.Append(nil, pdu.Header{})
			return err
		}},
		{name: "message id", do: func() error {
			_, err := pdu.AppendMessageResp(nil, pdu.Header{}, string(bytes.Repeat([]byte("7"), 65)))
			return err
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			require.ErrorIs(t, tt.do(), pdu.ErrTooLong)
		})
	}
	_, err := (&pdu.SM{Dest: pdu.Address{Addr: "4\x007"}}).Append(nil, pdu.Header{})
	require.Error(t, err, "a NUL within would shift every field after it")
}

func TestReaderRefuses(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name string
		hex  string
		want error
	}{
		{name: "nothing", hex: "", want: io.EOF},
		{name: "half a header", hex: "0000001000", want: io.ErrUnexpectedEOF},
		{name: "half a body", hex: vecHello[:80], want: io.ErrUnexpectedEOF},
		{name: "body missing", hex: "00000020000000040000000000000001", want: io.ErrUnexpectedEOF},
		{name: "length below the header", hex: "0000000F800000150000000000000009", want: pdu.ErrLength},
		{name: "length of 4 GiB", hex: "FFFFFFFF800000150000000000000009", want: pdu.ErrLength},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			_, _, err := pdu.NewReader(bytes.NewReader(unhex(t, tt.hex))).Next()
			require.ErrorIs(t, err, tt.want)
		})
	}
}

func TestBrokenOptionsKeepTheMessage(t *testing.T) {
	t.Parallel()
	m := pdu.SM{Short: []byte("HERE"), TLVs: pdu.TLVs{{Tag: pdu.TagMessageState, Value: []byte{2}}}}
	raw, err := m.Append(nil, pdu.Header{ID: pdu.DeliverSM, Seq: 1})
	require.NoError(t, err)
	for _, tail := range []string{"04", "0424FF", "04240005", "0424000541"} {
		got, err := pdu.ParseSM(append(raw[16:len(raw):len(raw)], unhex(t, tail)...))
		require.NoError(t, err)
		require.Equal(t, []byte("HERE"), got.Short)
		require.True(t, got.BrokenOptions)
		require.Len(t, got.TLVs, 1)
	}
}

func TestEveryCutIsAnError(t *testing.T) {
	t.Parallel()
	raw := unhex(t, vecHello)[16:]
	for i := range len(raw) {
		_, err := pdu.ParseSM(raw[:i])
		require.ErrorIs(t, err, pdu.ErrBody, "cut after %d octets", i)
	}
}

func TestNames(t *testing.T) {
	t.Parallel()
	require.Equal(t, "submit_sm_resp", pdu.SubmitSM.Resp().String())
	require.Equal(t, "generic_nack", pdu.Nack.String())
	require.Equal(t, "command 0x00000000", pdu.ID(0).String())
	require.Equal(t, "RTHROTTLED (0x58)", pdu.Throttled.String())
	require.Equal(t, "status 0x401", pdu.Status(0x401).String())
}

func FuzzReader(f *testing.F) {
	for _, s := range []string{vecHello, vecKitchen, vecUDH, vecReceipt, vecEnquire, vecAlive} {
		f.Add(unhex(f, s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		r := pdu.NewReader(bytes.NewReader(b))
		for {
			h, body, err := r.Next()
			if err != nil {
				return
			}
			_ = h.ID.String() + h.Status.String()
			_, _ = pdu.MessageID(body)
			_, _ = pdu.ParseBind(body)
			_, _ = pdu.ParseBindResp(body)
			_, _ = pdu.ParseDataSM(body)
			m, err := pdu.ParseSM(body)
			if err != nil {
				require.ErrorIs(t, err, pdu.ErrBody)
				continue
			}
			_ = m.Payload()
			_, _ = m.TLVs.Uint16(pdu.TagSarRef)
			_, _ = m.TLVs.CString(pdu.TagReceiptedID)
			out, err := m.Append(nil, h)
			if errors.Is(err, pdu.ErrTooLong) {
				continue
			}
			require.NoError(t, err)
			again, err := pdu.ParseSM(out[16:])
			require.NoError(t, err)
			again.BrokenOptions = m.BrokenOptions
			require.Equal(t, m, again)
		}
	})
}
