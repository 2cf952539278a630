package modem

import (
	"fmt"

	"passbell/adapters"
)

// faultKind is the family of a final result other than OK.
type faultKind int

const (
	faultPlain faultKind = iota // ERROR, or a code that is no number
	faultCMS                    // +CMS ERROR (TS 27.005 §3.2.5)
	faultCME                    // +CME ERROR (TS 27.007 §9.2)
)

// fault is how a command failed, in the modem's own words.
type fault struct {
	kind faultKind
	code int
}

func (f *fault) Error() string {
	switch f.kind {
	case faultCMS:
		return fmt.Sprintf("CMS error %d", f.code)
	case faultCME:
		return fmt.Sprintf("CME error %d", f.code)
	}
	return "error without a code"
}

// ruling is what a refusal means for a text.
type ruling struct {
	outcome adapters.Outcome
	account bool
	reason  string
}

// rule sorts the result of a part that was handed over.
//
// Source of the codes: TS 27.005 §3.2.5, which takes 0 to 127 from TS 24.011
// Annex E-2 (RP-Cause, mobile originating) and 128 to 255 from TS 23.040
// §9.2.3.22 (TP-Failure-Cause), read in several modems' manuals. By both, the
// network refused the part, so nothing went out; "temporary" and "permanent" are
// after what each name says. RP-Causes that are not listed count as 41 (TS 24.011
// §8.2.5.4, from memory). Codes from 300 on are the modem's own: where one leaves
// open whether the part had gone out, the text is Unknown.
func rule(f *fault) ruling {
	switch {
	case f.kind == faultCME:
		return ruleCME(f.code)
	case f.kind != faultCMS:
		return ruling{adapters.Unknown, false, "the modem reported a failure without saying which; the text may have gone out"}
	case f.code < 128:
		return ruleNetwork(f.code)
	case f.code < 256:
		return ruleCentre(f.code)
	}
	return ruleModem(f.code)
}

// ruleNetwork sorts RP-Causes.
func ruleNetwork(code int) ruling {
	switch code {
	case 1, 30: // unassigned number, unknown subscriber
		return ruling{adapters.Permanent, false, "the network says that the customer's number is not in use"}
	case 10: // call barred
		return ruling{adapters.Permanent, false, "the network does not let this SIM text the customer's number"}
	case 21: // short message transfer rejected
		return ruling{adapters.Permanent, false, "the network rejected the text; see whether the SIM has credit"}
	case 8, 28, 29, 50, 69: // operator determined barring, unidentified subscriber, facility rejected, not subscribed, not implemented
		return ruling{adapters.Temporary, true, "the network does not let this SIM send texts; ask its operator"}
	case 22, 42: // memory capacity exceeded (congestion as CP-Cause), congestion
		return ruling{adapters.Throttled, false, "the network is congested"}
	case 38: // network out of order
		return ruling{adapters.Temporary, true, "the network is out of order"}
	case 95, 96, 97, 99: // invalid message, mandatory information, message type, information element
		return ruling{adapters.Permanent, false, "the network does not take the text in this form"}
	}
	return ruling{adapters.Temporary, false, "the network could not take the text just now"}
}

// ruleCentre sorts TP-Failure-Causes.
func ruleCentre(code int) ruling {
	switch code {
	case 193: // no SC subscription
		return ruling{adapters.Temporary, true, "the message centre does not know this SIM; check smsc or ask the SIM's operator"}
	case 195: // invalid SME address
		return ruling{adapters.Permanent, false, "the message centre says that the customer's number is not valid"}
	case 196: // destination SME barred
		return ruling{adapters.Permanent, false, "the message centre does not let this SIM text the customer's number"}
	case 197: // SM rejected, duplicate SM
		return ruling{adapters.Unknown, false, "the message centre says that it has the text already"}
	case 198, 199: // TP-VPF, TP-VP not supported
		return ruling{adapters.Permanent, true, "the message centre does not take the time limit: write validity = \"none\""}
	case 128, 129, 130, 143, 144, 145, 159, 160, 161, 175, 176:
		return ruling{adapters.Permanent, false, "the message centre does not take the text in this form"}
	}
	return ruling{adapters.Temporary, false, "the message centre could not take the text just now"}
}

// ruleModem sorts the modem's own codes.
func ruleModem(code int) ruling {
	switch code {
	case 301, 302, 314, 320, 321, 322, 340: // reserved, not allowed, SIM busy, memory, +CNMA not expected
		return ruling{adapters.Temporary, false, "the modem is busy"}
	case 303: // operation not supported
		return ruling{adapters.Permanent, true, "the modem cannot send texts in PDU mode"}
	case 304, 305: // invalid PDU or text mode parameter
		return ruling{adapters.Permanent, false, "the modem does not take the text in this form; please report this"}
	case 310, 313, 315:
		return ruling{adapters.Temporary, true, "the SIM is missing or broken"}
	case 311, 312, 316, 317, 318:
		return ruling{adapters.Temporary, true, "the SIM is locked and wants a PIN or PUK"}
	case 330: // SMSC address unknown
		return ruling{adapters.Temporary, true, "the number of the message centre is missing: write smsc"}
	case 331: // no network service
		return ruling{adapters.Temporary, true, "the modem has no network"}
	case 332: // network time-out
		return ruling{adapters.Unknown, false, "the network did not answer in time; the text may have gone out"}
	}
	return ruling{adapters.Unknown, false, "the modem reported a failure that leaves open whether the text went out"}
}

// ruleCME sorts the codes of TS 27.007 §9.2 that some modems give for a text.
func ruleCME(code int) ruling {
	switch code {
	case 10, 13, 15:
		return ruleModem(310)
	case 5, 11, 12, 16, 17, 18:
		return ruleModem(311)
	case 3, 14:
		return ruleModem(302)
	case 4:
		return ruleModem(303)
	case 30, 32:
		return ruleModem(331)
	}
	return ruling{adapters.Unknown, false, "the modem reported a failure that leaves open whether the text went out"}
}

// statusOf sorts a status report (TP-Status, TS 23.040 §9.2.3.15; the
// wording of each is from memory). A reserved value counts as a failure.
func statusOf(st byte) (adapters.Status, string) {
	code := fmt.Sprintf(" (status %02X)", st)
	switch {
	case st == 0x00:
		return adapters.Delivered, ""
	case st == 0x01:
		return adapters.OnTheWay, "handed on; the network cannot say whether it arrived" + code
	case st == 0x02:
		return adapters.OnTheWay, "replaced by a later text" + code
	case st < 0x20:
		return adapters.OnTheWay, "the network has dealt with it in a way of its own" + code
	case st < 0x40: // temporary error, the SC still tries
		return adapters.OnTheWay, "the phone cannot be reached yet; the network keeps trying" + code
	}
	reasons := map[byte]string{
		0x40: "the network failed on the way", 0x41: "the phone cannot take the text", 0x42: "the phone refused the text",
		0x43: "the number is not reachable", 0x45: "the network does not reach the number",
		0x46: "the phone could not be reached in time", 0x47: "the text was deleted", 0x48: "the text was deleted by the network",
		0x49: "the network does not know the text", 0x60: "the network was congested", 0x61: "the phone was busy",
		0x62: "the phone did not answer", 0x63: "the network rejected the text",
	}
	if r := reasons[st]; r != "" {
		return adapters.Failed, r + code
	}
	return adapters.Failed, "the network could not deliver the text" + code
}
