package rehearsal

import (
	"fmt"
	"math/rand/v2"
	"strings"

	"passbell/internal/night"
)

// What customers write. Each function draws one of many ways of saying a thing.

// say fills the %s of a drawn phrase.
func say(rnd *rand.Rand, phrases []string, fill ...any) string {
	p := pick(rnd, phrases)
	if strings.Count(p, "%") == 0 {
		return p
	}
	return fmt.Sprintf(p, fill...)
}

// arrivalWithCar says it all at once.
func arrivalWithCar(rnd *rand.Rand, c car) string {
	return say(rnd, []string{
		"here %s %s", "Here, %s %s", "Hi im here, %s, %s", "I'm outside in a %s reg %s", "Just arrived. %s %s",
		"we're here! %s %s", "Hello, I have arrived. I'm in a %s, %s. Thank you", "parked up outside %s %s",
		"outside now - %s - %s", "Hiya just pulled up %s %s x", "Arrived, %s, registration %s", "im here mate %s %s",
		"We have arrived :) %s %s", "Hi, here for my dumplings. %s %s", "pulled in, its the %s %s", "Here now. %s / %s",
		"Evening! I'm here in the %s, plate is %s", "HERE %s %s",
	}, c.short(rnd), c.reg(rnd))
}

// arrivalBare says no more than that.
func arrivalBare(rnd *rand.Rand) string {
	return pick(rnd, []string{
		"here", "Here!", "I'm here", "im here", "Hi, I'm outside", "we are here", "Just arrived", "outside now", "arrived",
		"I'm here now thanks", "Hello, just got here", "just pulled up", "parked outside",
	})
}

// secondText completes a bare one.
func secondText(rnd *rand.Rand, c car) string {
	switch rnd.IntN(4) {
	case 0:
		return c.colourAndBrand()
	case 1:
		return c.short(rnd) + " " + c.reg(rnd)
	case 2:
		return "sorry, " + c.short(rnd) + ", " + c.reg(rnd)
	}
	return c.colourAndBrand() + " " + c.reg(rnd)
}

// plateOnly leaves the rest to the kitchen.
func plateOnly(rnd *rand.Rand, c car) string {
	switch rnd.IntN(4) {
	case 0:
		return c.colour + " " + c.reg(rnd)
	case 1:
		return c.colour + " " + strings.ToLower(c.model) + " " + c.reg(rnd)
	}
	return c.reg(rnd)
}

// arrivalForName comes from a phone that the kitchen does not know.
func arrivalForName(rnd *rand.Rand, name string, c car) string {
	return say(rnd, []string{
		"Hi, collecting for %s, I'm here in a %s %s", "here for %s, %s %s", "Picking up for %s. Just arrived, %s %s",
		"Hello im picking up the order of %s, outside now in a %s, %s", "I'm here to collect %s's order. %s %s",
	}, name, c.short(rnd), c.reg(rnd))
}

// arrivalForRef names the order.
func arrivalForRef(rnd *rand.Rand, ref string, c car) string {
	return say(rnd, []string{
		"here for order %s, %s %s", "Order %s. I'm here, %s, %s", "Arrived for %s - %s %s", "%s here. %s %s",
	}, ref, c.short(rnd), c.reg(rnd))
}

func arrivalOnFoot(rnd *rand.Rand) string {
	return pick(rnd, []string{
		"I'm here, on foot", "here, walked over", "Hi I'm outside, no car, on foot", "we are here on foot, by the gate",
		"arrived on my bike", "Here. I came on foot, standing by the wall",
	})
}

func arrivalForBoth(rnd *rand.Rand, c car) string {
	return say(rnd, []string{
		"here for both orders, %s %s", "Hi, we're here for both of ours, %s %s", "I'm here, collecting both orders. %s %s",
	}, c.short(rnd), c.reg(rnd))
}

// arrivalAfterAll comes from somebody who was given up.
func arrivalAfterAll(rnd *rand.Rand, c car) string {
	return say(rnd, []string{
		"so so sorry, here now! %s %s", "I'm here finally, sorry!! %s %s", "Just arrived, terrible traffic, sorry. %s %s",
	}, c.short(rnd), c.reg(rnd))
}

func thanks(rnd *rand.Rand) string {
	return pick(rnd, []string{
		"Thanks!", "thank you", "Great, thanks", "ok thanks", "Perfect, see you then", "👍", "Lovely thank you x", "cheers",
		"Brilliant, looking forward to it", "Ok see you Friday", "noted, thank you", "Thank you very much", "ta", "🙏",
	})
}

func thanksAfter(rnd *rand.Rand) string {
	return pick(rnd, []string{
		"Thank you, they were delicious!", "amazing food thank you", "Best dumplings ever 😋", "thanks so much, kids loved it",
		"All eaten already! Thank you", "Delicious as always, thank you",
	})
}

func announcesCar(rnd *rand.Rand, c car) string {
	return say(rnd, []string{
		"Thanks, I'll be in a %s, %s", "ok, will be coming in a %s %s", "Thank you. My car will be a %s, reg %s",
		"Great. We will be in the %s %s", "Noted! I'll come in a %s, %s",
	}, c.short(rnd), c.reg(rnd))
}

func onTheWay(rnd *rand.Rand) string {
	return pick(rnd, []string{
		"on my way", "On my way now", "Just leaving now", "omw", "setting off now", "We're on our way", "leaving the house now",
		"Hi, on the way, see you soon",
	})
}

func late(rnd *rand.Rand, minutes int) string {
	return say(rnd, []string{
		"running %d mins late sorry", "Sorry, running about %d minutes late", "Hi, I'll be %d mins late, traffic",
		"gonna be %d min late", "stuck in traffic, %d mins late", "Running late, be there in about %d mins",
		"We'll be around %d minutes late, apologies", "so sorry %d minutes late",
	}, minutes)
}

func question(rnd *rand.Rand) string {
	return pick(rnd, []string{
		"where do i park?", "Is there parking nearby?", "Can I park on the lane?", "Can I pay by card when I collect?",
		"How long do they keep in the fridge?", "Do I need to bring anything?", "Hi, what is the postcode please?",
		"Do you have any chilli oil left to add?", "Is there a step at the gate? I use a wheelchair",
	})
}

func allergyQuestion(rnd *rand.Rand) string {
	return pick(rnd, []string{
		"Is there sesame in the noodles? My son is allergic", "Just checking, we have a peanut allergy, is the oil ok?",
		"Forgot to say, I'm allergic to shellfish",
	})
}

// moveTo asks for another slot.
func moveTo(rnd *rand.Rand, to night.Clock) string {
	t := pick(rnd, []string{to.String(), twelve(to, ":"), twelve(to, ".")})
	return say(rnd, []string{
		"Can I change my collection to %s please?", "Could we move to %s instead?", "any chance of %s instead?",
		"Hi, would it be possible to collect at %s instead please", "Can we swap our slot to %s?",
		"Please could I move my time to %s",
	}, t)
}

// twelve writes a time of the evening on the 12-hour clock: "6:10", "6.10pm".
func twelve(c night.Clock, mark string) string {
	return fmt.Sprintf("%d%s%02dpm", int(c)/60%12, mark, int(c)%60)
}

func cancels(rnd *rand.Rand) string {
	return pick(rnd, []string{
		"Sorry I need to cancel my order", "Please cancel my order, we are all ill", "Hi, can I cancel please? So sorry",
		"I'm afraid we can't make it on Friday, please cancel", "cancel my order please", "need to cancel, sorry!",
		"So sorry but I have to cancel our dumplings this week",
	})
}

func stops(rnd *rand.Rand) string {
	return pick(rnd, []string{"STOP", "Stop", "stop", "STOP.", "Unsubscribe"})
}

// strange comes from somebody who ordered nothing.
func strange(rnd *rand.Rand) string {
	return pick(rnd, []string{
		"who is this? I think you have the wrong number", "Hi, do you do deliveries?", "Are you open tomorrow?",
		"is this the dumpling place? can I order for next week",
	})
}
