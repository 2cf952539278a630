/*
 * How a text is claimed, sent and settled, for spin (spinroot.com) to walk
 * through every order in which two instances of passbell, the network, the clock,
 * the database and a person can act on one or two messages.
 *
 * Each step stands for the Go function that its comment names; README.md says
 * what is left out. The walk checks that
 *
 *   - no text is knowingly sent twice: none passes the last look before it goes
 *     while an earlier try may be out, unless a person said so since (assured);
 *   - no text that may be out is on record as one that reached nobody
 *     (remembered);
 *   - every message comes to an end (claim "ends");
 *   - what nobody knows the outcome of is shown to a person (claim "shown"), and
 *     the doubt ends (claim "doubts").
 *
 * Built with one of these it must fail, or the walk sees nothing:
 *
 *   NO_ATTEMPT_GUARD   a settlement does not name its attempt
 *   RESEND_IN_DOUBT    what was abandoned is simply due again
 *   SEND_BEFORE_CLAIM  the attempt goes on record after the call
 *   LATE_ANSWER_LOST   a late "accepted" does not stop the try that a person
 *                      asked for meanwhile
 *   EARLIER_FORGOTTEN  a try that reached nobody undoes an earlier one
 *   NO_TAKE_OVER       nobody looks for what was abandoned
 */

#ifndef MESSAGES
#define MESSAGES 2
#endif
#define TRIES    2 /* dispatch.Retry.Attempts */
#define MAXTRIES 6 /* no run may need more: claim asserts it */

/* How often each mishap strikes in one run, over all messages. */
#ifndef CRASHES
#define CRASHES 0 /* an instance dies, and comes back or not */
#endif
#ifndef SLOW
#define SLOW 0    /* an instance holds an attempt past its lease */
#endif
#ifndef AGAIN
#define AGAIN 0   /* a person says "send it again" */
#endif
#ifndef WAITS
#define WAITS 0   /* quiet hours, a gap, a throttled provider */
#endif
#ifndef OUTAGES
#define OUTAGES 0 /* the database takes nothing for a while */
#endif
#ifndef ECHOES
#define ECHOES 0  /* a settlement is on record, and its instance hears that it is not */
#endif
#ifndef CHANGES
#define CHANGES 0 /* an order is cancelled */
#endif
#ifndef SECOND
#define SECOND 0  /* the network says "lost" and speaks once more */
#endif

/* night.MessageState */
mtype:state = { due, sending, sent, delivered, failed, indoubt, byhand, missed, dropped };
/* the answer to a try: adapters.OutcomeOf, and "not sent" for a stopped one */
mtype:word = { waiting, notsent, accepted, temporary, busy, permanent, unknown };
/* night.Fate */
mtype:fate = { nofate, onway, lost, arrived };
/* how far an instance is with a message */
mtype:step = { idle, claimed, checked, calling, answered, stopped };

/* What the database holds of one try, and what the network did with it. */
typedef Try {
	bool doubt;       /* attempts.outcome is unknown */
	bool taken;       /* attempts.outcome is accepted */
	mtype:fate part;  /* parts.status; nofate while there is no such row */
	mtype:fate early; /* early_receipts.status */
	bool took;        /* the network has the text and has yet to speak of it */
	bool open         /* handed over, and may be out */
};

/* A message as it is read, out of messages, outbox and attempts, and what is true of it. */
typedef Row {
	mtype:state state;
	byte attempt;
	bool over;     /* lease_until has passed */
	bool untrue;   /* the order was cancelled */
	bool unseen;   /* a try's outcome is unknown, and nobody was shown it yet */
	bool known;    /* its acceptance was reported, or that it arrived */
	byte excused;  /* up to this try a person knew that it may be out and said "again" */
	Try try[MAXTRIES + 1]
};

/* What one instance has in memory about one message. */
typedef Hand {
	mtype:step step;
	byte attempt;
	mtype:word word;
	mtype:state verdict; /* dispatch.Verdict.State, for stopped */
	bool ids             /* the provider numbered what it may have taken */
};

Row row[MESSAGES];
Hand hand[2 * MESSAGES];
bool gone[2]; /* an instance that died for good */
bool away;    /* the database */
byte crashes = CRASHES, slow = SLOW, again = AGAIN, waits = WAITS;
byte outages = OUTAGES, echoes = ECHOES, changes = CHANGES, second = SECOND;

#define H hand[i * MESSAGES + m]
#define R row[m]
#define T row[m].try[H.attempt]
#define ENDED(m) (row[m].state != due && row[m].state != sending && row[m].state != indoubt)

/* store.(*Kitchen).Claim: one transaction, committed before the call. */
inline claim() {
	assert(R.attempt < MAXTRIES);
	H.attempt = R.attempt + 1;
	H.step = claimed;
#ifndef SEND_BEFORE_CLAIM
	R.attempt = H.attempt;
	R.state = sending;
	R.over = false
#endif
}

inline stop(to) {
	H.step = stopped;
	H.verdict = to;
	H.word = notsent
}

/* (*Dispatcher).look and dispatch.Check: is it still ours, and still true? */
inline check() {
	if
	:: away -> stop(due)
#ifdef SEND_BEFORE_CLAIM
	:: !away ->
#else
	:: !away && (R.state != sending || R.attempt != H.attempt) -> stop(due)
	:: !away && R.state == sending && R.attempt == H.attempt ->
#endif
		stand(); /* dispatch.Truth: Arrived */
		b = (stands == delivered -> 1 : 0);
		stands = due;
		if
		:: R.untrue || b -> b = 0; stop(dropped)
		:: !R.untrue && !b ->
			if
			:: assured(); H.step = checked
			:: stop(missed) /* its time passed */
			:: waits > 0 -> waits--; stop(due) /* quiet hours; (*Pace).space */
			fi
		fi
	fi
}

/* What is on record leaves no doubt that this try may go. */
inline assured() {
	assert(!R.known);
	for (b : R.excused + 1 .. H.attempt) {
		assert(!R.try[b].open)
	}
	b = 0
}

/* (*Dispatcher).send, up to the moment at which the text leaves the house. */
inline handOver() {
	T.open = true;
	H.step = calling
}

/* (*Dispatcher).send, the answer: adapters.Sender.Send and its kinds of error. */
inline answer() {
	if
	:: T.took = true; H.word = accepted; H.ids = true
	:: T.took = true; H.word = unknown; H.ids = true /* some parts were numbered, then silence */
	:: T.took = true; H.word = unknown               /* the answer was lost */
	:: H.word = unknown                              /* it never got there */
	:: T.open = false; H.word = temporary
	:: T.open = false; H.word = permanent
	:: waits > 0 -> waits--; T.open = false; H.word = busy
	fi;
	if
	:: H.word == unknown && R.state == sending && R.attempt == H.attempt -> R.unseen = true
	:: else
	fi;
	H.step = answered
}

/* dispatch.Decide, as far as it picks the state; a stopped try has its verdict. */
inline decide() {
	if
	:: H.step == stopped -> to = H.verdict
	:: H.step == answered && H.word == accepted -> to = sent
	:: H.step == answered && H.word == unknown -> to = indoubt
	:: H.step == answered && H.word == permanent -> to = failed
	:: H.step == answered && H.word == busy -> to = due
	:: H.step == answered && H.word == temporary -> to = (H.attempt >= TRIES -> failed : due)
	fi
}

/* store.(*Tx).Settle: by message, state and attempt. */
inline counts() {
#ifdef SEND_BEFORE_CLAIM
	counted = (R.state == due);
	R.attempt = H.attempt;
#else
#ifdef NO_ATTEMPT_GUARD
	counted = (R.state == sending || R.state == indoubt);
#else
	counted = ((R.state == sending || R.state == indoubt) && R.attempt == H.attempt);
#endif
#endif
	if
	:: counted && to == sent -> R.known = true
	:: !counted && to == sent && R.state == due && R.attempt == H.attempt && T.doubt ->
		R.known = true;
#ifndef LATE_ANSWER_LOST
		counted = true
#endif
	:: else
	fi
}

/* store.(*Tx).best: what the tries on record came to, the best that is known of
 * any; due where nothing left the house. */
inline stand() {
	stands = due;
	for (b : 1 .. R.attempt) {
		if
		:: !R.try[b].taken && !R.try[b].doubt || R.state == sending && b == R.attempt
		:: else ->
			if
			:: R.try[b].part == arrived -> stands = delivered
			:: R.try[b].part == lost && stands == due -> stands = failed
			:: R.try[b].part != lost && R.try[b].part != arrived ->
				if
				:: R.try[b].taken && stands != delivered -> stands = sent
				:: R.try[b].doubt && (stands == due || stands == failed) -> stands = indoubt
				:: else
				fi
			:: else
			fi
		fi
	}
	b = 0
}

/* store.(*Tx).stand: a try does not undo an earlier one that came to more. */
inline standBy() {
#ifndef EARLIER_FORGOTTEN
	stand();
	if
	:: stands == delivered || R.state != due && stands != due -> R.state = stands
	:: else
	fi;
	stands = due;
#endif
	remembered()
}

/* Of what reached nobody nothing is out that was not reported as lost. */
inline remembered() {
	if
	:: R.state == failed || R.state == missed || R.state == dropped ->
		for (b : 1 .. R.attempt) {
			assert(!R.try[b].open || R.try[b].part == lost)
		}
		b = 0
	:: else
	fi
}

/* (*Dispatcher).join: what a try that was lost makes of the message. */
inline lose() {
	stand();
	if
	:: stands == failed && (R.state == sent || R.state == indoubt) -> R.state = failed
	:: stands == indoubt && R.state == sent -> R.state = indoubt
	:: else
	fi;
	stands = due;
	remembered()
}

/* (*Dispatcher).settleOnly: endStopped and endTried, record, then follow. */
inline settle() {
	decide();
	counts();
	if
	:: counted ->
		R.state = to;
		R.over = false;
		R.unseen = false; /* on record, as in doubt at the worst */
		T.doubt = (H.word == unknown);
		T.taken = (H.word == accepted);
		standBy();
		if
		:: H.ids && T.part == nofate -> T.part = onway
		:: else
		fi;
		if
		:: H.ids -> joinEarly()
		:: else
		fi;
		rest()
	:: else
	fi;
	if
	:: forget()
	:: echoes > 0 -> echoes-- /* (*Dispatcher).settle keeps the result for the next time */
	fi;
	counted = false;
	to = due
}

inline forget() {
	H.step = idle;
	H.attempt = 0;
	H.word = waiting;
	H.verdict = due;
	H.ids = false
}

/* dispatch.Later */
#define LATER(a, b) (a == arrived || b == arrived -> arrived : (a == lost || b == lost -> lost : a))

/* (*Dispatcher).joinEarly: what was reported before the part was on record. */
inline joinEarly() {
	T.part = LATER(T.part, T.early);
	T.early = nofate;
	if
	:: T.part == arrived -> reach()
	:: T.part == lost -> lose()
	:: else
	fi
}

/* dispatch.arrived and store.(*Tx).ReceiptState: the phone has it. */
inline reach() {
	if
	:: R.state == sent || R.state == indoubt || R.state == failed || R.state == due -> R.state = delivered
	:: else
	fi
}

/* Nothing leaves these states: what led there is forgotten, so that runs that
 * differ in nothing else are walked once. */
inline rest() {
	if
	:: R.state == delivered || R.state == dropped || R.state == byhand ->
		R.known = false;
		R.unseen = false;
		R.untrue = false;
		R.over = false;
		R.excused = 0;
		for (b : 1 .. MAXTRIES) {
			R.try[b].doubt = false;
			R.try[b].taken = false;
			R.try[b].part = nofate;
			R.try[b].early = nofate;
			R.try[b].took = false;
			R.try[b].open = false
		}
		b = 0
	:: else
	fi
}

/* One instance and one message: what (*Dispatcher).Drain does about it. */
proctype Worker(byte i; byte m) {
	bool counted;
	byte b;
	mtype:state to = due, stands = due;
end:
	do
	/* (*Dispatcher).start */
	:: atomic { !gone[i] && !away && H.step == idle && R.state == due -> claim() }
	:: atomic { !gone[i] && H.step == claimed -> check() }
	:: atomic { !gone[i] && H.step == checked -> handOver() }
	:: atomic { !gone[i] && H.step == calling -> answer() }
	/* (*Dispatcher).settle; while the database is away it is tried in vain */
	:: atomic { !gone[i] && !away && (H.step == answered || H.step == stopped) -> settle() }
	:: !gone[i] && away && (H.step == answered || H.step == stopped) -> skip
#ifndef NO_TAKE_OVER
	/* (*Dispatcher).abandon and giveUp: found once more and recorded in one transaction */
	:: atomic { !gone[i] && !away && H.step == idle && R.state == sending && R.over ->
		H.attempt = R.attempt;
		H.step = stopped;
		H.word = unknown;
#ifdef RESEND_IN_DOUBT
		H.verdict = due;
#else
		H.verdict = indoubt;
#endif
		settle() }
#endif
	od
}

/* An instance dies: what it had in memory is gone, and what it was handing over
 * went out or not. */
inline crash() {
	crashes--;
	for (m : 0 .. MESSAGES - 1) {
		if
		:: H.step == calling -> if :: T.took = true :: skip fi
		:: else
		fi;
		if
		:: H.step != idle && R.state == sending && R.attempt == H.attempt -> R.unseen = true
		:: else
		fi;
		forget()
	}
	m = 0;
	if
	:: skip /* started again */
	:: !gone[1 - i] -> gone[i] = true /* for good: the other takes over */
	fi
}

/* The network speaks of a try, or keeps silent for ever: (*Dispatcher).Receipt
 * and join. A "delivered" may come after a "lost". */
inline hear(a) {
	if
	:: R.try[a].took = false; word = onway
	:: R.try[a].took = false; word = arrived
	:: R.try[a].took = false; word = lost
	:: second > 0 -> second--; word = lost
	fi;
	if
	:: word == onway
	:: word != onway && R.try[a].part == nofate -> R.try[a].early = LATER(R.try[a].early, word) /* KeepReceipt */
	:: word != onway && R.try[a].part != nofate ->
		R.try[a].part = LATER(R.try[a].part, word);
		if
		:: R.try[a].part == arrived -> R.known = true; reach()
		:: R.try[a].part == lost -> lose()
		:: else
		fi
	fi;
	word = nofate;
	rest()
}

#define HEARS(a) (!away && R.try[a].took)
#define HOLDS(i) (hand[(i) * MESSAGES + m].step != idle && hand[(i) * MESSAGES + m].attempt == R.attempt)

/* What happens to one message and nobody at passbell decides. */
proctype World(byte m) {
	byte b;
	mtype:fate word = nofate;
	mtype:state stands = due;
end:
	do
	/* the lease runs out, of a try that nobody holds any more or of a slow one */
	:: atomic { R.state == sending && !R.over && !HOLDS(0) && !HOLDS(1) -> R.over = true }
	:: atomic { R.state == sending && !R.over && (HOLDS(0) || HOLDS(1)) && slow > 0 -> slow--; R.over = true }
	/* desk.(*Desk).Cancel and store.(*Tx).Withdraw */
	:: atomic { changes > 0 && !away && !ENDED(m) ->
		changes--;
		R.untrue = true;
		if
		:: R.state == due -> R.state = dropped; standBy()
		:: else
		fi;
		rest() }
	:: atomic { HEARS(1) -> hear(1) }
	:: atomic { HEARS(2) -> hear(2) }
	:: atomic { HEARS(3) -> hear(3) }
	:: atomic { HEARS(4) -> hear(4) }
	:: atomic { HEARS(5) -> hear(5) }
	:: atomic { HEARS(6) -> hear(6) }
	od
}

proctype Mishaps() {
	byte i, m;
end:
	do
	:: atomic { crashes > 0 && !gone[0] -> i = 0; crash() }
	:: atomic { crashes > 0 && !gone[1] -> i = 1; crash(); i = 0 }
	:: outages > 0 && !away -> atomic { outages--; away = true }
	:: away -> away = false
	od
}

/* Somebody at the pass. Whatever is in doubt, they settle in the end. */
proctype Person(byte m) {
	byte b;
end:
	do
	/* desk.(*Desk).SendAgain, store.(*Tx).SendAgain */
	:: atomic { again > 0 && !away && !R.untrue && (R.state == failed || R.state == missed || R.state == indoubt) ->
		again--;
		R.state = due;
		R.known = false;
		R.excused = R.attempt }
	/* desk.(*Desk).ByHand */
	:: atomic { !away && (R.state == indoubt || R.state == failed || R.state == missed || R.state == due) ->
		R.state = byhand;
		rest() }
	od
}

#if MESSAGES == 1
#define ALL(p) (p(0))
#else
#define ALL(p) (p(0) && p(1))
#endif
#define DONE(m) (ENDED(m) && !row[m].unseen)

/* When nothing moves any more, nothing may be left. */
proctype Watch() {
end:
	timeout -> assert(ALL(DONE))
}

init {
	byte i, m;
	atomic {
		for (m : 0 .. MESSAGES - 1) {
			R.state = due;
			for (i : 1 .. MAXTRIES) {
				R.try[i].part = nofate;
				R.try[i].early = nofate
			}
			for (i : 0 .. 1) {
				forget()
			}
		}
		run Watch();
		run Mishaps();
		for (m : 0 .. MESSAGES - 1) {
			run World(m);
			run Person(m);
			run Worker(0, m);
			run Worker(1, m)
		}
		i = 0;
		m = 0
	}
}

#define SETTLES(m) (row[m].state == indoubt -> <> (row[m].state != indoubt))
#define SHOWS(m) (row[m].unseen -> <> !row[m].unseen)

ltl ends { <>[] ALL(ENDED) }
ltl doubts { [] ALL(SETTLES) }
ltl shown { [] ALL(SHOWS) }
