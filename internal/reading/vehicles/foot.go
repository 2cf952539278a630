package vehicles

import (
	"strings"

	"passbell/internal/reading/vehicles/words"
)

// foot sets the body of somebody who says that they walk, where no vehicle is
// theirs.
func (r *reader) foot(f *Found) {
	if f.Make != "" || f.Model != "" || f.Body != "" && f.Body != "bicycle" && f.Body != "motorbike" {
		return
	}
	for i := range r.words {
		if f.Body != "" && !r.insteadOf(i, f.Spans) {
			continue // on foot only where the bicycle was given up for it
		}
		if r.walks(i) {
			f.Body = "foot"
			f.Colours = nil
			f.Spans = append(f.Spans[:0], [2]int{r.words[i].Start, r.words[i].End})
			return
		}
	}
}

// insteadOf tells whether word i comes behind the vehicle that was read and a word
// that turns from it: "too much snow for the bike so on foot".
func (r *reader) insteadOf(i int, spans [][2]int) bool {
	for j := i - 1; j >= 0; j-- {
		if len(spans) > 0 && r.words[j].Start < spans[len(spans)-1][1] {
			return false
		}
		switch r.low(j) {
		case "so", "instead", "but", "now", "actually":
			return true
		}
	}
	return false
}

func (r *reader) low(i int) string {
	if i < 0 || i >= len(r.words) {
		return ""
	}
	return r.words[i].Low
}

// walks tells whether word i says that somebody comes on foot.
func (r *reader) walks(i int) bool {
	low := r.low(i)
	if strings.HasPrefix(low, "walkingg") || strings.HasPrefix(low, "walkinn") {
		low = "walking"
	}
	switch low {
	case "foot":
		p := r.low(i - 1)
		return p == "on" || p == "by"
	case "pie":
		switch r.low(i - 2) {
		case "voy", "vengo", "estoy", "llego", "viene", "va", "ando", "vamos", "venimos":
			return r.low(i-1) == "a"
		}
		return false
	case "walking", "walkin", "walked", "strolling", "strolled", "caminando", "andando":
		return !r.denied(i) && !r.elsewhere(i)
	case "walk":
		p := i - 1
		if r.low(p) == "just" || r.low(p) == "probably" {
			p--
		}
		switch r.low(p) {
		case "by":
			return !r.denied(i)
		case "i", "we":
			return i+1 == len(r.words) || r.words[i+1].Before >= words.Comma || r.low(i+1) == "over" || r.low(i+1) == "down" || r.low(i+1) == "up" || r.low(i+1) == "here"
		case "min", "mins", "minute", "minutes", "minutes'", "minuto", "minutos":
			return !r.denied(i-2) && !r.queried(i)
		case "ill", "will", "gonna", "well", "to":
			return (r.low(p) != "to" || r.low(i-2) == "going" || r.low(i-2) == "decided" || r.low(i-2) == "have" || r.low(i-2) == "had") && !r.elsewhere(i)
		}
	}
	return false
}

// queried tells whether the way is asked about: "is it a 10 min walk".
func (r *reader) queried(i int) bool {
	for j := i - 1; j >= 0; j-- {
		switch r.low(j) {
		case "is", "how", "can", "would", "its", "station":
			return r.low(j) != "its" || j == 0
		}
	}
	return i+1 < len(r.words) && r.low(i+1) == "from"
}

// denied tells whether the walking is denied or asked about.
func (r *reader) denied(i int) bool {
	for j := i - 1; j >= 0 && j >= i-3; j-- {
		if r.words[j+1].Before >= words.Comma {
			return false
		}
		switch r.low(j) {
		case "not", "cant", "cannot", "can", "should", "could", "if", "isnt", "arent", "wont", "never", "dog", "no", "difficulty", "trouble":
			return true
		}
	}
	return false
}

// elsewhere tells whether the walk is not the way to the collection: out of the
// house, back to the car, a walking stick.
func (r *reader) elsewhere(i int) bool {
	if i+1 < len(r.words) && r.words[i+1].Before >= words.Comma {
		return false
	}
	switch r.low(i + 1) {
	case "out", "distance", "stick", "frame", "aid", "boot", "dog", "dogs", "away":
		return true
	case "the":
		return r.low(i+2) == "dog" || r.low(i+2) == "dogs"
	case "back", "to":
		for j := i + 1; j < len(r.words) && j <= i+5; j++ {
			switch r.low(j) {
			case "car", "van", "truck", "station", "stop":
				return true
			}
		}
	}
	return false
}
