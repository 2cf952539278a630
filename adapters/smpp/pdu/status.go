package pdu

import "fmt"

// Status is a command_status (§5.1.3).
type Status uint32

// The statuses that are used by name.
const (
	OK             Status = 0x00
	BadLength      Status = 0x02 // ESME_RINVCMDLEN
	BadCommand     Status = 0x03 // ESME_RINVCMDID
	BadBindState   Status = 0x04 // ESME_RINVBNDSTS
	AlreadyBound   Status = 0x05 // ESME_RALYBND
	SystemError    Status = 0x08 // ESME_RSYSERR
	BindFailed     Status = 0x0D // ESME_RBINDFAIL
	BadPassword    Status = 0x0E // ESME_RINVPASWD
	BadSystemID    Status = 0x0F // ESME_RINVSYSID
	QueueFull      Status = 0x14 // ESME_RMSGQFUL
	BadSystemType  Status = 0x53 // ESME_RINVSYSTYP
	Throttled      Status = 0x58 // ESME_RTHROTTLED
	TemporaryFault Status = 0x64 // ESME_RX_T_APPN
	PermanentFault Status = 0x65 // ESME_RX_P_APPN
)

// Name is the status's name in the specification without its prefix ESME_, ""
// for one that it does not have.
func (s Status) Name() string {
	for _, e := range names {
		if e.s == s {
			return e.name
		}
	}
	return ""
}

// String gives name and number.
func (s Status) String() string {
	if n := s.Name(); n != "" {
		return fmt.Sprintf("%s (0x%02X)", n, uint32(s))
	}
	return fmt.Sprintf("status 0x%02X", uint32(s))
}

// names holds the whole of §5.1.3, Table 5-2.
var names = [...]struct {
	s    Status
	name string
}{
	{0x00, "ROK"}, {0x01, "RINVMSGLEN"}, {0x02, "RINVCMDLEN"}, {0x03, "RINVCMDID"},
	{0x04, "RINVBNDSTS"}, {0x05, "RALYBND"}, {0x06, "RINVPRTFLG"}, {0x07, "RINVREGDLVFLG"},
	{0x08, "RSYSERR"}, {0x0A, "RINVSRCADR"}, {0x0B, "RINVDSTADR"}, {0x0C, "RINVMSGID"},
	{0x0D, "RBINDFAIL"}, {0x0E, "RINVPASWD"}, {0x0F, "RINVSYSID"}, {0x11, "RCANCELFAIL"},
	{0x13, "RREPLACEFAIL"}, {0x14, "RMSGQFUL"}, {0x15, "RINVSERTYP"}, {0x33, "RINVNUMDESTS"},
	{0x34, "RINVDLNAME"}, {0x40, "RINVDESTFLAG"}, {0x42, "RINVSUBREP"}, {0x43, "RINVESMCLASS"},
	{0x44, "RCNTSUBDL"}, {0x45, "RSUBMITFAIL"}, {0x48, "RINVSRCTON"}, {0x49, "RINVSRCNPI"},
	{0x50, "RINVDSTTON"}, {0x51, "RINVDSTNPI"}, {0x53, "RINVSYSTYP"}, {0x54, "RINVREPFLAG"},
	{0x55, "RINVNUMMSGS"}, {0x58, "RTHROTTLED"}, {0x61, "RINVSCHED"}, {0x62, "RINVEXPIRY"},
	{0x63, "RINVDFTMSGID"}, {0x64, "RX_T_APPN"}, {0x65, "RX_P_APPN"}, {0x66, "RX_R_APPN"},
	{0x67, "RQUERYFAIL"}, {0xC0, "RINVOPTPARSTREAM"}, {0xC1, "ROPTPARNOTALLWD"},
	{0xC2, "RINVPARLEN"}, {0xC3, "RMISSINGOPTPARAM"}, {0xC4, "RINVOPTPARAMVAL"},
	{0xFE, "RDELIVERYFAILURE"}, {0xFF, "RUNKNOWNERR"},
}
