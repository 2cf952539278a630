package vehicles

import (
	"slices"
	"strings"

	"passbell/internal/reading/vehicles/words"
)

// cluster is one mention of one vehicle.
type cluster struct {
	from, to    int // items
	colours     [4]string
	ncolours    int
	make, model string
	body        string
	dropped     bool
}

func (c *cluster) empty() bool {
	return c.ncolours == 0 && c.make == "" && c.model == "" && c.body == ""
}

func (c *cluster) addColour(label string) {
	if c.ncolours < len(c.colours) && !slices.Contains(c.colours[:c.ncolours], label) {
		c.colours[c.ncolours] = label
		c.ncolours++
	}
}

// gather joins the settled items to mentions.
func (r *reader) gather(dst []cluster) []cluster {
	last := -1
	for i := range r.items {
		it := &r.items[i]
		if it.kind == other {
			continue
		}
		if last < 0 || !r.linked(&dst[len(dst)-1], last, i) {
			dst = append(dst, cluster{from: i})
		}
		c := &dst[len(dst)-1]
		if it.kind == isColour && r.partNext(i) && len(dst) > 1 && c.from == i {
			// "two tone LandCruiser, white top sand bottom"
			dst = dst[:len(dst)-1]
			c = &dst[len(dst)-1]
		}
		c.to = i + 1
		last = i
		switch it.kind {
		case isColour:
			for _, label := range it.lex.colours {
				c.addColour(label)
			}
		case isName:
			if it.name.make != "" && c.make == "" {
				c.make = it.name.make
			}
			if it.name.model != "" && c.model == "" {
				c.model = it.name.model
			}
			if c.body == "" && it.to > it.from+1 {
				switch r.words[it.to-1].Low {
				case "ute":
					c.body = "pickup" // "falcon ute"
				case "van":
					c.body = "van" // "transit van"
				}
			}
		case isBody:
			if c.body == "" || c.body == "van" && it.body == "taxi" || c.body == "bicycle" && it.body == "motorbike" {
				c.body = it.body
			}
		}
	}
	for k := range dst {
		dst[k].dropped = r.foreign(&dst[k])
	}
	return dst
}

// partNext tells whether a part of a car painted in two colours follows item i.
func (r *reader) partNext(i int) bool {
	if !r.twoTone || !r.near(i+1) {
		return false
	}
	switch r.first(i + 1).Low {
	case "top", "roof", "bottom", "bonnet", "hood", "body", "half", "sides", "lid", "underneath", "below":
		return true
	}
	return false
}

// linked tells whether settled item i belongs to the mention c that ended with
// item last.
func (r *reader) linked(c *cluster, last, i int) bool {
	it := &r.items[i]
	if r.sep(i) >= words.Comma && i == last+1 && r.landmarked(c) {
		return false // "behind the white van, red Mazda"
	}
	for j := last + 1; j <= i; j++ {
		if r.sep(j) == words.Stop && !(it.kind == isColour && r.fragment(i)) {
			return false
		}
		if j == i {
			break
		}
		if r.sep(j) >= words.Comma && r.landmarked(c) || i-last > 7 {
			return false
		}
		if r.has(j, roleLandmark|roleNot|roleFailed|roleChange) && r.first(j).Low != "now" && r.first(j).Low != "instead" {
			return false
		}
		if j+1 < i && r.first(j).Low == "in" && r.has(j+1, roleDet) && r.landmarked(c) {
			return false // "behind the horsebox in a grey Berlingo"
		}
		if r.has(j, roleColour|roleShade|roleAdj|roleGlue|roleDet|roleIn|roleIsh|roleTrim|roleOne|roleUnit) {
			continue
		}
		if j+1 == i && it.kind != isColour { // "white church van"
			continue
		}
		return false
	}
	clash := func(n name) bool {
		return n.make != "" && c.make != "" && n.make != c.make
	}
	switch it.kind {
	case isName:
		return !clash(it.name) && (it.name.model == "" || c.model == "" || it.name.model == c.model)
	case isColour:
		t := r.target(i)
		return t < 0 || r.items[t].kind != isName || !clash(r.items[t].name)
	case isBody:
		return c.body == "" || c.body == it.body || it.body == "taxi" || c.body == "taxi"
	}
	return true
}

// foreign tells whether a mention is of a landmark, of somebody else's car, or of
// one that is not coming.
func (r *reader) foreign(c *cluster) bool {
	if r.landmarked(c) {
		return true
	}
	k := c.to
	for k < len(r.items) && k < c.to+2 && r.near(k) && r.has(k, roleGlue) && !r.has(k, roleFailed) {
		k++
	}
	return k < len(r.items) && r.near(k) && r.has(k, roleFailed)
}

// landmarked tells whether what stands before a mention makes it a landmark,
// somebody else's or denied.
func (r *reader) landmarked(c *cluster) bool {
	j := c.from - 1
	det, in := false, false
	for j >= 0 && r.near(j+1) && !r.has(j, roleNot|roleLandmark|roleBy) && (r.has(j, roleDet|roleAdj|roleShade|roleIn) || isGoing(r.first(j).Low)) {
		det = det || r.has(j, roleDet)
		in = in || r.has(j, roleIn) || r.first(j).Low == "in"
		j--
	}
	if j < 0 || !r.near(j+1) {
		return false
	}
	low := r.first(j).Low
	switch {
	case r.has(j, roleNot):
		return low != "no" || !r.has(j+1, roleDet) // "the Micra, no the Juke" corrects
	case r.has(j, roleLandmark):
		return !in
	case r.has(j, roleBy):
		return det && !(j > 0 && isComing(r.first(j-1).Low))
	case low == "theres" || low == "there" || low == "is" && r.first(max(0, j-1)).Low == "there":
		return det && !in
	}
	return in && (low == "someone" || low == "somebody" || low == "bloke" || low == "idiot" || low == "person" || low == "whoever")
}

// isGoing tells whether a word may stand between a denial and its car: "won't be
// coming in the golf".
func isGoing(low string) bool {
	switch low {
	case "in", "gonna", "going", "to", "be", "coming", "come", "comin", "bringing", "driving":
		return true
	}
	return false
}

func isComing(low string) bool {
	switch low {
	case "come", "coming", "arrive", "arriving", "arrived", "travel", "travelling", "go", "going", "be", "came", "collect", "collecting":
		return true
	}
	return false
}

// merge makes one vehicle of the mentions: what does not clash completes, a
// change of mind replaces, and two vehicles are ambiguous.
func (r *reader) merge() Found {
	var sum cluster
	var f Found
	started := false
	for k := range r.clusters {
		c := &r.clusters[k]
		if c.dropped || c.empty() {
			continue
		}
		switch {
		case !started:
			sum, started = *c, true
		case sum.body == "bicycle" && c.body == "motorbike":
			replace(&sum, c) // "the bike, I mean the motorbike"
		case r.changed(sum.to, c.from) && (clash(&sum, c) || sum.make != "" && c.make == "" && c.body != ""):
			replace(&sum, c)
		case !clash(&sum, c):
			fill(&sum, c)
		case sum.make == "" && sum.model == "" && sum.body == "" && c.ncolours > 0 && (c.make != "" || c.body != ""):
			sum = *c // a colour by itself against a whole car
			f.Spans = f.Spans[:0]
		default:
			f.Ambiguous = true
			continue
		}
		sum.to = c.to
		f.Spans = r.spans(f.Spans, c)
	}
	if sum.body == "bicycle" {
		sum.ncolours, sum.make, sum.model = 0, "", ""
	}
	sum.dropMulti()
	f.Make, f.Model, f.Body = sum.make, sum.model, sum.body
	if sum.ncolours > 0 {
		f.Colours = slices.Clone(sum.colours[:sum.ncolours])
	}
	return f
}

// dropMulti lets the colours of a "two tone" car that are named stand for it.
func (c *cluster) dropMulti() {
	k := slices.Index(c.colours[:c.ncolours], "multi")
	if k < 0 || c.ncolours < 2 {
		return
	}
	copy(c.colours[k:], c.colours[k+1:c.ncolours])
	c.ncolours--
}

func clash(a, b *cluster) bool {
	differ := func(x, y string) bool { return x != "" && y != "" && x != y }
	if differ(a.make, b.make) || differ(a.model, b.model) || differ(a.body, b.body) {
		return true
	}
	if a.ncolours == 0 || b.ncolours == 0 {
		return false
	}
	for _, c := range b.colours[:b.ncolours] {
		if slices.Contains(a.colours[:a.ncolours], c) {
			return false
		}
	}
	return true
}

func fill(sum, c *cluster) {
	if sum.make == "" && (sum.model == "" || c.model == sum.model) {
		sum.make = c.make
	}
	if sum.model == "" && (c.make == "" || c.make == sum.make) {
		sum.model = c.model
	}
	if sum.body == "" {
		sum.body = c.body
	}
	if sum.ncolours == 0 {
		sum.colours, sum.ncolours = c.colours, c.ncolours
	}
}

func replace(sum, c *cluster) {
	if c.make != "" || c.model != "" || c.body != "" {
		*sum = *c
		return
	}
	sum.colours, sum.ncolours = c.colours, c.ncolours
}

// changed tells whether a change of mind stands between two items.
func (r *reader) changed(from, to int) bool {
	for j := from; j < to; j++ {
		if r.has(j, roleChange) {
			return true
		}
	}
	return false
}

func (r *reader) spans(dst [][2]int, c *cluster) [][2]int {
	if dst == nil {
		dst = make([][2]int, 0, c.to-c.from)
	}
	for j := c.from; j < c.to; j++ {
		if it := &r.items[j]; it.kind != other {
			dst = append(dst, [2]int{r.words[it.from].Start, r.words[it.to-1].End})
		}
	}
	return dst
}

func why(f Found) string {
	if !f.Any() {
		return ""
	}
	var b strings.Builder
	b.Grow(48)
	b.WriteString("It speaks of a")
	for i, c := range f.Colours {
		if i > 0 {
			b.WriteString(" or")
		}
		b.WriteByte(' ')
		b.WriteString(c)
	}
	for _, s := range [...]string{f.Make, f.Model} {
		if s != "" {
			b.WriteByte(' ')
			b.WriteString(s)
		}
	}
	switch {
	case f.Body == "foot":
		return "It says that they come on foot."
	case f.Body != "":
		b.WriteByte(' ')
		b.WriteString(f.Body)
	case f.Make == "" && f.Model == "":
		b.WriteString(" vehicle")
	}
	if f.Ambiguous {
		b.WriteString(", and of another vehicle")
	}
	b.WriteByte('.')
	return b.String()
}
