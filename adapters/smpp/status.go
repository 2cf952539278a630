package smpp

import (
	"fmt"

	"passbell/adapters"
	"passbell/adapters/smpp/pdu"
)

// ruling is what a command_status means for a text.
type ruling struct {
	outcome adapters.Outcome
	account bool   // the fault lies with the account or the connection
	reason  string // for the cook
}

// rule sorts the command_status of an answer to submit_sm, or of a generic_nack
// for it. The numbers and names are those of SMPP v3.4 §5.1.3 (Table 5-2). The
// specification itself says only of three what follows: ESME_RX_T_APPN is a
// temporary, ESME_RX_P_APPN a permanent application error, ESME_RX_R_APPN a
// rejection; and ESME_RTHROTTLED means that limits were exceeded. The classes of
// the others are a proposal, after what each name says: nothing went out in any
// case.
func rule(s pdu.Status) ruling {
	switch s {
	case 0x58, 0x14: // RTHROTTLED, RMSGQFUL
		return ruling{adapters.Throttled, false, "the message centre says that texts come too fast"}
	case 0x00, 0x08, 0x45, 0x64, 0x66, 0xFE, 0xFF:
		// A generic_nack with status 0; RSYSERR, RSUBMITFAIL, RX_T_APPN,
		// RX_R_APPN, RDELIVERYFAILURE, RUNKNOWNERR.
		return ruling{adapters.Temporary, false, "the message centre has a fault of its own and refused the text for now"}
	case 0x04, 0x05, 0x0D: // RINVBNDSTS, RALYBND, RBINDFAIL
		return ruling{adapters.Temporary, true, "the message centre says that we are not signed in; it is tried again"}
	case 0x0E, 0x0F, 0x53: // RINVPASWD, RINVSYSID, RINVSYSTYP
		return ruling{adapters.Temporary, true, "the message centre does not accept the sign-in: check system_id, password and system_type"}
	case 0x0B, 0x50, 0x51: // RINVDSTADR, RINVDSTTON, RINVDSTNPI
		return ruling{adapters.Permanent, false, "the message centre says that the customer's number is not valid"}
	case 0x0A, 0x48, 0x49: // RINVSRCADR, RINVSRCTON, RINVSRCNPI
		return ruling{adapters.Permanent, true, "the message centre does not accept the sender: check from, from_ton and from_npi"}
	case 0x01: // RINVMSGLEN
		return ruling{adapters.Permanent, false, "the message centre says that the text is too long"}
	case 0x61, 0x62: // RINVSCHED, RINVEXPIRY
		return ruling{adapters.Permanent, false, "the message centre does not accept the time limit: try another setting of validity"}
	case 0x15: // RINVSERTYP
		return ruling{adapters.Permanent, true, "the message centre does not accept the service type: check service_type"}
	case 0x43, 0xC0, 0xC1, 0xC2, 0xC3, 0xC4: // RINVESMCLASS and the TLV errors
		return ruling{adapters.Permanent, false, "the message centre does not take the text in this form: try another setting of long"}
	case 0x0C, 0x65: // RINVMSGID, RX_P_APPN
		return ruling{adapters.Permanent, false, "the message centre refused the text for good"}
	case 0x02, 0x03, 0x06, 0x07, 0x33, 0x40, 0x54, 0x55, 0x63:
		// RINVCMDLEN, RINVCMDID, RINVPRTFLG, RINVREGDLVFLG, RINVNUMDESTS,
		// RINVDESTFLAG, RINVREPFLAG, RINVNUMMSGS, RINVDFTMSGID: a fault of ours.
		return ruling{adapters.Permanent, false, "the message centre does not understand what we sent; please report this"}
	case 0x11, 0x13, 0x34, 0x42, 0x44, 0x67: // answers to other commands
		return ruling{adapters.Permanent, false, "the message centre gave an answer that does not fit; please report this"}
	}
	// 0x400 to 0x4FF are the operator's own; the rest is reserved.
	return ruling{adapters.Temporary, false, "the message centre refused the text with a code of its own"}
}

// err makes the error of a refused text. The status stands in it by name and
// number, for whoever asks the centre's operator.
func (r ruling) err(name string, s pdu.Status) *adapters.SendError {
	return &adapters.SendError{
		Adapter: name, Outcome: r.outcome, Account: r.account,
		Reason: r.reason + " (" + s.String() + ")",
		Err:    statusError(s),
	}
}

// statusError is a refusal by command_status.
type statusError pdu.Status

func (e statusError) Error() string {
	return fmt.Sprintf("refused with %s", pdu.Status(e))
}

// bindReason words a refused sign-in.
func bindReason(s pdu.Status) string {
	switch s {
	case pdu.BadPassword, pdu.BadSystemID, pdu.BadSystemType, pdu.BindFailed:
		return fmt.Sprintf("the message centre does not accept the sign-in: check system_id, password and system_type (%s)", s)
	case pdu.AlreadyBound:
		return fmt.Sprintf("the message centre says that we are signed in already, perhaps from another machine (%s)", s)
	}
	return fmt.Sprintf("the message centre refused the sign-in (%s)", s)
}

// stubborn says of a refused sign-in that trying again soon will not help and
// might lock the account.
func stubborn(s pdu.Status) bool {
	return s == pdu.BadPassword || s == pdu.BadSystemID || s == pdu.BadSystemType
}
