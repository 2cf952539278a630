package email

import (
	"context"
	"errors"
	"fmt"
	"net/textproto"
	"regexp"
	"strings"

	"passbell/adapters"
)

// stage is how far an e-mail got.
type stage int

const (
	stageConnect stage = iota
	stageTLS
	stageSignIn
	stageSender    // MAIL
	stageRecipient // RCPT
	stageData      // DATA, up to the final dot
	stageDone      // the final dot was handed to the network
)

// codeClosing is what a server says before it hangs up (RFC 5321 §4.2.2).
const codeClosing = 421

// stageError is a failure at a stage: a refusal with its code, or a broken
// connection with code 0. It does not hold the server's own words, since servers
// repeat addresses in them.
type stageError struct {
	stage    stage
	code     int
	enhanced string // RFC 3463, "" where the server gave none
	hurried  bool   // the server's words speak of too much at once
	err      error  // nil where there is a code
}

func (e *stageError) Error() string {
	if e.code == 0 {
		return e.err.Error()
	}
	return "refused with " + e.codes()
}

func (e *stageError) Unwrap() error { return e.err }

func (e *stageError) codes() string {
	if e.enhanced == "" {
		return fmt.Sprintf("code %d", e.code)
	}
	return fmt.Sprintf("code %d, %s", e.code, e.enhanced)
}

var (
	enhancedCode = regexp.MustCompile(`\b([245]\.\d{1,3}\.\d{1,3})\b`)
	// What servers say to those who send too much: common practice, no source.
	hurry = regexp.MustCompile(`(?i)\btoo (many|much|fast)\b|\brate\b|\bthrottl|\bflood|\bslow down\b|\blimit(s|ed)?\b`)
)

// failed sorts err into a stageError.
func failed(at stage, err error) *stageError {
	var t *tlsError
	if errors.As(err, &t) && at == stageConnect {
		at = stageTLS
	}
	var reply *textproto.Error
	if !errors.As(err, &reply) {
		return &stageError{stage: at, err: err}
	}
	e := &stageError{stage: at, code: reply.Code, hurried: hurry.MatchString(reply.Msg)}
	if found := enhancedCode.FindString(reply.Msg); found != "" && strings.HasPrefix(reply.Msg, found) {
		e.enhanced = found
	}
	return e
}

// ruling is what a failure means for an e-mail.
type ruling struct {
	outcome adapters.Outcome
	account bool
	reason  string // for the cook
}

// rule sorts a failure. The classes 4 (for now) and 5 (for good) are those of RFC
// 5321 §4.2.1; the codes of signing in those of RFC 4954 §6; the enhanced codes
// those of RFC 3463 §3.2 to §3.8. What is throttling is common practice, no source.
func rule(e *stageError) ruling {
	switch {
	case e.code == 0:
		return ruleBroken(e)
	case e.signIn():
		return ruling{adapters.Temporary, true, "the mail server does not accept the sign-in: check smtp user and password, and whether the account needs a password for programs"}
	case e.code >= 500 && e.subject(4, 5):
		return ruling{adapters.Temporary, true, "the mail account has reached its limit; the mail provider says when it may send again"}
	case e.code < 500 && e.tooFast():
		return ruling{adapters.Throttled, false, "the mail server says that e-mails come too fast"}
	case e.stage <= stageTLS:
		return ruling{adapters.Temporary, true, "the mail server does not let us in for now"}
	case e.code < 400 && e.stage == stageDone:
		return ruling{adapters.Unknown, false, "the mail server gave an answer that does not fit; the e-mail may have gone out"}
	case e.code < 400:
		return ruling{adapters.Temporary, false, "the mail server gave an answer that does not fit; it is tried again"}
	case e.code < 500:
		if e.stage == stageRecipient {
			return ruling{adapters.Temporary, false, "the mail server does not take e-mail for this customer for now"}
		}
		return ruling{adapters.Temporary, e.stage <= stageSignIn, "the mail server has a fault of its own and refused the e-mail for now"}
	}
	switch e.stage {
	case stageSender:
		return ruling{adapters.Permanent, true, "the mail server does not accept the sender: check from"}
	case stageRecipient:
		return ruling{adapters.Permanent, false, "the mail server refused the customer's address" + colon(meaning(e.enhanced))}
	}
	return ruling{adapters.Permanent, false, "the mail server refused the e-mail for good" + colon(meaning(e.enhanced))}
}

func colon(s string) string {
	if s == "" {
		return ""
	}
	return ": " + s
}

// ruleBroken sorts a failure that came without a code.
func ruleBroken(e *stageError) ruling {
	switch {
	case e.stage == stageDone && (errors.Is(e.err, context.Canceled) || errors.Is(e.err, context.DeadlineExceeded)):
		return ruling{adapters.Unknown, false, "the wait for the mail server's answer was broken off; the e-mail may have gone out"}
	case e.stage == stageDone:
		return ruling{adapters.Unknown, false, "the mail server did not answer in time, or the connection broke; the e-mail may have gone out"}
	case errors.Is(e.err, errNotASCII):
		return ruling{adapters.Permanent, false, "the customer's e-mail address holds letters that the mail server cannot take"}
	case errors.Is(e.err, errNoStartTLS):
		return ruling{adapters.Temporary, true, "the mail server does not offer a secure connection here: try tls = \"tls\" and port 465"}
	case e.stage == stageTLS:
		return ruling{adapters.Temporary, true, "the connection to the mail server cannot be secured: check smtp host, port and tls"}
	case errors.Is(e.err, errNoAuth):
		return ruling{adapters.Temporary, true, "the mail server offers no way of signing in that we know; ask the mail provider for SMTP with a password"}
	case e.stage == stageConnect:
		return ruling{adapters.Temporary, true, "the mail server cannot be reached: check smtp host and port, and the internet connection"}
	}
	return ruling{adapters.Temporary, true, "the connection to the mail server broke before the e-mail was handed over"}
}

// signIn says whether the refusal is about who we are.
func (e *stageError) signIn() bool {
	switch e.code {
	case 530, 534, 535, 538:
		return true
	}
	return e.stage == stageSignIn && (e.code >= 500 || e.code == 454)
}

func (e *stageError) tooFast() bool {
	switch {
	case e.subject(2, 2): // a full mailbox is no matter of speed
		return false
	case e.subject(4, 5), e.subject(5, 3), e.subject(7, 28):
		return true
	case e.code == codeClosing, e.code == 450, e.code == 451, e.code == 452, e.code == 454:
		return e.hurried
	}
	return false
}

// misread says whether the server did not understand a command's parameters (RFC
// 5321 §4.2.2 and §4.1.1.11).
func (e *stageError) misread() bool {
	return e.code == 500 || e.code == 501 || e.code == 504 || e.code == 555
}

// subject compares the last two numbers of the enhanced code.
func (e *stageError) subject(class, detail int) bool {
	_, rest, _ := strings.Cut(e.enhanced, ".")
	return rest == fmt.Sprintf("%d.%d", class, detail)
}

// sendError words a failure of deliver.
func (a *Adapter) sendError(ctx context.Context, err error) *adapters.SendError {
	var e *stageError
	if !errors.As(err, &e) {
		return &adapters.SendError{Adapter: a.cfg.Name, Outcome: adapters.Unknown, Err: err, Reason: "the e-mail's fate is not known"}
	}
	if e.code == 0 && ctx.Err() != nil {
		// The connection was broken off by us: the context is the cause.
		if e.stage < stageDone {
			return a.given(ctx.Err())
		}
		e = &stageError{stage: e.stage, err: ctx.Err()}
	}
	r := rule(e)
	if e.code != 0 {
		r.reason += " (" + e.codes() + ")"
	}
	a.log.Warn("an e-mail was not taken over", "outcome", string(r.outcome), "error", e)
	return &adapters.SendError{Adapter: a.cfg.Name, Outcome: r.outcome, Account: r.account, Reason: r.reason, Err: e}
}

// meaning says an enhanced status code (RFC 3463) in plain words, "" where it
// says nothing.
func meaning(code string) string {
	_, rest, ok := strings.Cut(code, ".")
	if !ok {
		return ""
	}
	if words, ok := map[string]string{
		"1.1": "there is no such mailbox", "1.2": "there is no such mail domain", "1.3": "the address is not written as it should be",
		"1.6": "the mailbox has moved", "1.10": "the mail domain takes no e-mail", // 1.10: RFC 7505
		"2.1": "the mailbox is switched off", "2.2": "the mailbox is full", "2.3": "the e-mail is too long for the mailbox",
		"3.1": "the customer's mail server is full", "3.2": "the customer's mail server takes no e-mail for now",
		"3.4": "the e-mail is too large",
		"4.1": "the customer's mail server does not answer", "4.2": "the connection to the customer's mail server was bad",
		"4.3": "the mail domain could not be looked up", "4.4": "no way to the customer's mail server was found",
		"4.5": "the mail system is overloaded", "4.6": "the e-mail went round in circles", "4.7": "it could not be delivered in time",
		"7.0": "the customer's mail server refused it by a rule of its own",
		"7.1": "the customer's mail server does not want it",
		// RFC 7372.
		"7.20": "the sender's signature is missing (DKIM)", "7.23": "the sender's domain does not allow this mail server (SPF)",
		"7.25": "the sending mail server has no name in the DNS", "7.26": "the sender could not be proved (SPF and DKIM)",
	}[rest]; ok {
		return words
	}
	class, _, _ := strings.Cut(rest, ".")
	return map[string]string{
		"1": "something is wrong with the address", "2": "something is wrong with the mailbox",
		"3": "the customer's mail server has a fault", "4": "it got lost on the way between mail servers",
		"5": "the mail servers did not understand each other", "6": "the customer's mail server cannot take it in this form",
		"7": "the customer's mail server refused it by a rule of its own",
	}[class]
}
