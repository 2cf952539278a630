package reading

// clockAt reads what begins with a number as a time of day.
func clockAt(toks []Token, i int) (moment, bool) {
	t := &toks[i]
	if t.Kind == Number && t.Min >= 0 {
		if t.Num > 23 {
			return moment{}, false
		}
		return clock(toks, i+1, t.Num, t.Min, false)
	}
	n, j := wholeNum(toks, i)
	at := func(k int) string { return word(toks, j+k) }
	switch at(0) {
	case "and":
		if n == 5 && at(1) == "twenty" {
			switch at(2) {
			case "past", "after":
				return minutesPast(toks, j+3, 25)
			case "to":
				return minutesTo(toks, j+3, 25)
			}
		}
	case "past", "after":
		if w := at(1); n >= 1 && n < 60 && (at(0) == "past" || w == "" || num(toks, j+1) >= 0 || w == "or" || w == "at" || w == "if" || w == "now") {
			return minutesPast(toks, j+1, n) // but not "right at 7 after all"
		}
	case "点", "點":
		if at(1) == "半" {
			return clock(toks, j+2, n, 30, false)
		}
		return clock(toks, j+1, n, 0, false)
	case "hours":
		if n >= 13 && n <= 23 && t.Kind == Number && toks[j].Glued {
			return clock(toks, j+1, n, 0, true) // "19h"
		}
		if n >= 1 && n <= 12 && t.Kind == Number && toks[j].Glued && (at(1) == "moins" || at(1) == "et") {
			switch {
			case at(1) == "moins" && at(2) == "quart":
				return clock(toks, j+3, (n+10)%12+1, 45, false) // "7h moins quart"
			case at(1) == "moins" && at(2) == "le" && at(3) == "quart":
				return clock(toks, j+4, (n+10)%12+1, 45, false)
			case at(2) == "quart":
				return clock(toks, j+3, n, 15, false)
			case at(2) == "demie" || at(2) == "demi":
				return clock(toks, j+3, n, 30, false)
			}
		}
		if n >= 1 && n <= 12 && t.Kind == Number && toks[j].Glued && hourPrep(word(toks, i-1)) {
			return clock(toks, j+1, n, 0, false) // "j'arrive à 7h"
		}
	case "minutes":
	case "to", "until", "of", "before", "para":
		if n >= 1 && n < 60 && (n%5 == 0 || n > 12) && !rangeBefore(toks, i) && (at(0) != "para" || at(1) == "las" || at(1) == "la") {
			if m, ok := minutesTo(toks, j+1, n); ok {
				return m, true
			}
		}
	case "y", "menos":
		if m, ok := spanishMinutes(toks, j, n); ok {
			return m, true
		}
	case "am", "pm", "oclock":
		if n >= 1 && n <= 12 {
			return clock(toks, j, n, 0, false)
		}
		if t.Kind == Number && (t.Digits == 3 || t.Digits == 4) && n%100 < 60 && n/100 >= 1 && n/100 <= 12 {
			return clock(toks, j, n/100, n%100, false)
		}
	}
	if t.Kind == Number && (t.Digits == 3 || t.Digits == 4) {
		return joinedClock(toks, i, n)
	}
	if n < 1 || n > 23 {
		return moment{}, false
	}
	if m, ok := hourMinute(toks, i, j, n); ok {
		return m, true
	}
	if n <= 12 && at(0) == "ish" {
		return clock(toks, j, n, 0, false)
	}
	if k := j + 1; k < len(toks) && toks[j].Kind == Dash && toks[k].Kind == Number && toks[k].Digits == 2 && toks[k].Num > 12 && toks[k].Num < 60 &&
		toks[k].Num%5 == 0 && n <= 12 && toks[i].Kind == Number && !isUnit(word(toks, k+1)) {
		switch word(toks, i-1) {
		case "at", "by", "for", "around", "until":
			return clock(toks, k+1, n, toks[k].Num, false) // "at 6-30"
		}
	}
	if bareHour(toks, i, j) {
		return clock(toks, j, n, 0, false)
	}
	return moment{}, false
}

// hourPrep tells whether a French word makes what stands behind it a time of day: "à 7h".
func hourPrep(w string) bool {
	return w == "a" || w == "vers" || w == "pour" || w == "avant" || w == "apres"
}

func rangeBefore(toks []Token, i int) bool {
	switch word(toks, i-1) {
	case "from", "between", "moved", "de":
		return true
	}
	return false
}

// hourMinute reads "six thirty", "6 30" and "six oh five".
func hourMinute(toks []Token, i, j, hour int) (moment, bool) {
	k := j
	if k < len(toks) && toks[k].Kind == Dash && toks[i].Kind == Word {
		k++
	}
	if hour > 12 || k >= len(toks) {
		return moment{}, false
	}
	if w := word(toks, k); w == "oh" || w == "o" {
		if n := num(toks, k+1); n >= 1 && n <= 9 && toks[i].Kind == Word {
			return clock(toks, k+2, hour, n, false)
		}
		return moment{}, false
	}
	n, e := wholeNum(toks, k)
	spelled := k < len(toks) && toks[k].Kind == Word && n >= 10 && n < 60
	spaced := toks[i].Kind == Number && toks[k].Kind == Number && toks[k].Digits == 2 && n < 60 && n%5 == 0 && (timePrep(word(toks, i-1)) || word(toks, i-1) == "come" || word(toks, i-1) == "there" || word(toks, i-1) == "instead")
	if (spelled || spaced) && !isUnit(word(toks, e)) {
		return clock(toks, e, hour, n, false)
	}
	return moment{}, false
}

// joinedClock reads "1815" and "615" where the words around say it is a time.
func joinedClock(toks []Token, i, n int) (moment, bool) {
	if i > 1 && toks[i-1].Kind == Dash && toks[i-2].Kind == Number && toks[i-2].Digits >= 3 {
		return moment{}, false // the end of a telephone number
	}
	h, m := n/100, n%100
	if h > 23 || m > 59 || h == 0 && toks[i].Digits == 3 {
		return moment{}, false
	}
	before, after := word(toks, i-1), word(toks, i+1)
	if before == "la" || before == "the" && (m%5 != 0 || ofRoad(after)) {
		return moment{}, false // "un choque en la 1604" is a road, "then the 103" a bus, "the 405 is a car park" a road
	}
	if before == "on" {
		switch word(toks, i-2) {
		case "stuck", "crawling", "accident", "crash", "traffic", "up", "jam", "stopped", "back", "still":
			return moment{}, false // "stuck on 520"
		}
	}
	alone := before == "" && (after == "" || after == "prob" || after == "probably" || after == "latest") && toks[i].Digits == 4 && m%5 == 0
	if !timePrep(before) && !alone && before != "there" && before != "here" && after != "hours" && after != "please" && after != "instead" && after != "slot" && after != "ish" {
		return moment{}, false
	}
	end := i + 1
	if after == "hours" {
		end++
	}
	return clock(toks, end, h, m, toks[i].Digits == 4 && (h == 0 || h >= 13))
}

// ofRoad tells whether a word is said of a road that goes by its number.
func ofRoad(w string) bool {
	switch w {
	case "is", "was", "traffic", "freeway", "fwy", "highway", "hwy", "north", "south", "east", "west", "northbound", "southbound", "eastbound", "westbound", "backed", "jammed", "crawling":
		return true
	}
	return false
}

// goes tells whether the words before k say that somebody will be somewhere: "I'll be
// over for five", not "a table for five".
func goes(toks []Token, k int) bool {
	be := false
	for i := max(0, k-5); i < k; i++ {
		switch toks[i].Text {
		case "be":
			be = true
		case "over", "round", "down", "up", "along", "there", "with":
			if be {
				return true
			}
		}
	}
	return false
}

func timePrep(w string) bool {
	switch w {
	case "at", "by", "for", "until", "before", "after", "around", "about", "eta", "to", "from", "is", "says", "between", "and", "or", "not", "las", "la", "circa", "approx", "near", "than", "of", "only", "make", "do", "closer", "nearer", "like", "on", "then", "say", "the", "manage", "till", "past", "max", "arrival", "slot", "more", "get", "ours", "mine", "it", "just", "bang", "instead", "now", "another", "either":
		return true
	}
	return false
}

// bareHour tells whether a lone small number is an hour: "at 6", "by 7", "for
// half the family at 6" but not "for 6 people" or "2 bags".
func bareHour(toks []Token, i, j int) bool {
	before := word(toks, i-1)
	if w := word(toks, j); w == "instead" || w == "sharp" {
		return true
	}
	switch before {
	case "at", "by", "until", "before", "after", "around", "round", "eta", "from", "between", "than", "circa", "vers":
	case "la":
		if num(toks, i) != 1 {
			return false // "un choque en la 10" is a road
		}
	case "las":
		if toks[i].Kind == Word && !beforeHour(word(toks, i-2)) {
			return false // "recoger las dos"
		}
	case "chance":
		switch word(toks, j) {
		case "works", "work", "would", "is", "suits":
		default:
			return false
		}
	case "of":
		if w := word(toks, i-2); w != "dot" && w != "stroke" && w != "chance" && w != "instead" && w != "possibility" {
			return false
		}
	case "on":
		if w := word(toks, i-2); w != "dead" && w != "bang" && w != "spot" && w != "smack" {
			return false
		}
	case "to", "or", "o", "ou", "and", "not", "for", "about", "till", "instead", "approx", "closer", "nearer", "make", "say", "like":
		if !timeNear(toks, i) && !(before == "for" && word(toks, j) == "" && goes(toks, i-1)) {
			return false
		}
	case "":
		if i > 0 && toks[i-1].Kind == Dash && i > 1 && toks[i-2].bits&clsTime != 0 {
			break
		}
		if w := word(toks, j); (w == "like" || w == "as") && j+1 < len(toks) && (toks[j+1].bits&clsSubject != 0 || word(toks, j+1) == "planned" || word(toks, j+1) == "agreed" || word(toks, j+1) == "booked") {
			break // "headed over, 7 like we said"
		}
		if w := word(toks, j); w != "instead" && w != "ish" && w != "sharp" && w != "ok" && w != "latest" && w != "max" && !(w == "at" && word(toks, j+1) == "the" && word(toks, j+2) == "latest") {
			return false
		}
	case "would", "is", "does", "will", "are":
		switch word(toks, j) {
		case "be", "ok", "okay", "work", "suit", "possible", "free", "available", "any", "alright", "fine", "better", "good", "too":
		default:
			return false
		}
	case "it":
		if w := word(toks, i-2); w != "make" || word(toks, j) != "" && word(toks, j) != "please" && word(toks, j) != "if" {
			return false
		}
	case "maybe", "perhaps":
		switch word(toks, j) {
		case "is", "ok", "okay", "instead", "ish":
		default:
			return false
		}
	case "do", "manage":
		switch word(toks, j) {
		case "not", "instead":
		default:
			return false
		}
	case "there", "here":
		if word(toks, j) != "" {
			return false
		}
	default:
		if i > 1 && toks[i-1].Kind == Dash && toks[i-2].bits&clsTime != 0 {
			break
		}
		return false
	}
	if j >= len(toks) || toks[j].Kind == Break || toks[j].Kind == Emoji {
		return true
	}
	if toks[j].bits&(clsItem|clsFood|clsCar|clsSpot|clsPerson|clsPlate|clsMine) != 0 && toks[j].bits&(clsSlot|clsVocative) == 0 {
		return false
	}
	switch toks[j].Text {
	case "minutes", "hours", "of", "more", "bags", "boxes", "people", "dozen", "x", "different", "other", "weeks", "days", "years", "times", "seconds", "cars", "doors", "down", "up", "houses", "families", "bucks", "euro", "quid":
		return false
	}
	return true
}

// beforeHour tells whether a Spanish word may stand before "las" and an hour.
func beforeHour(w string) bool {
	switch w {
	case "a", "de", "para", "hasta", "desde", "como", "sobre", "hacia", "por", "son", "entre", "y", "mejor", "tipo", "":
		return true
	}
	return false
}

// timeNear tells whether the words before a number speak of coming or of a
// slot, so that "to 7" and "for 7" are hours.
func timeNear(toks []Token, i int) bool {
	for k := i - 1; k >= 0 && k >= i-8; k-- {
		t := &toks[k]
		if t.bits&clsTime != 0 {
			return true
		}
		switch t.Text {
		case "slot", "move", "moved", "change", "changed", "swap", "switch", "push", "pushed", "time", "booked", "instead", "there", "here", "with", "come", "coming", "arrive", "arriving", "collect", "collection", "pickup", "pick", "make", "more", "closer", "nearer", "eta", "reschedule", "bump", "shift", "forward", "back", "cambiar", "later", "earlier", "put", "bring", "possible", "at", "around", "between", "late", "early":
			return true
		}
	}
	return false
}

// clock finishes a time of day: "am" and "pm", "ish", "oclock" belong to it.
func clock(toks []Token, end, hour, minute int, fixed bool) (moment, bool) {
	for end < len(toks) {
		switch word(toks, end) {
		case "ish", "oclock", "sharp":
			end++
			continue
		case "am":
			// "at 6 am I ..." is rare; "6 am" before a subject would be "I am".
			if hour <= 12 && (toks[end].Glued || word(toks, end+1) == "" || minute > 0) {
				hour, fixed = hour%12, true
				end++
			}
		case "pm":
			if hour <= 12 {
				hour = hour%12 + 12
			}
			fixed = true
			end++
		case "p":
			if word(toks, end+1) == "m" && hour <= 12 {
				hour, fixed, end = hour%12+12, true, end+2
			}
		}
		break
	}
	return moment{end: end, kind: momentClock, hour: hour, min: minute, fixed: fixed || hour > 12 || hour == 0}, true
}

func minutesPast(toks []Token, i, minutes int) (moment, bool) {
	if w := word(toks, i); w == "the" {
		i++
	}
	if n := num(toks, i); n >= 1 && n <= 12 && !isUnit(word(toks, i+1)) {
		return clock(toks, i+1, n, minutes, false)
	}
	return moment{end: i, kind: momentClock, hour: -1, min: minutes}, true
}

// minutesTo reads "quarter to six", "ten of four", and "ten to" alone at the
// end of a clause.
func minutesTo(toks []Token, i, minutes int) (moment, bool) {
	if w := word(toks, i); w == "the" || w == "la" || w == "las" {
		i++
	}
	if w := word(toks, i); w == "noon" || w == "midday" {
		return moment{end: i + 1, kind: momentClock, hour: 11, min: 60 - minutes, fixed: true}, true
	}
	if n := num(toks, i); n >= 1 && n <= 12 {
		if isUnit(word(toks, i+1)) {
			return moment{}, false
		}
		hour := n - 1
		if hour == 0 {
			hour = 12
		}
		return clock(toks, i+1, hour, 60-minutes, false)
	}
	if w := word(toks, i-1); closes(word(toks, i)) && (w != "of" || minutes == 15) && w != "before" || word(toks, i) == "hours" && word(toks, i-1) == "the" {
		return moment{end: i, kind: momentClock, hour: -1, min: 60 - minutes}, true
	}
	return moment{}, false
}

// closes tells whether a word ends a time that names no hour: "five to at the latest",
// "quarter to still".
func closes(w string) bool {
	switch w {
	case "", "at", "still", "latest", "mate", "sorry", "please", "now", "prob", "probably", "instead":
		return true
	}
	return false
}

// spanishMinutes reads "6 y media", "7 menos cuarto".
func spanishMinutes(toks []Token, j, hour int) (moment, bool) {
	if hour < 1 || hour > 12 {
		return moment{}, false
	}
	minutes := -1
	switch w := word(toks, j+1); {
	case w == "media":
		minutes = 30
	case w == "cuarto":
		minutes = 15
	default:
		if n, _ := wholeNum(toks, j+1); n > 0 && n < 60 {
			minutes = n
		}
	}
	if minutes < 0 {
		return moment{}, false
	}
	if word(toks, j) == "menos" {
		minutes = 60 - minutes
		if hour--; hour == 0 {
			hour = 12
		}
	}
	return clock(toks, j+2, hour, minutes, false)
}
