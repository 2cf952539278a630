package phone

import "strings"

// Reader reads many numbers of one region and remembers what it learned. It is
// not safe for use by several goroutines at once.
type Reader struct {
	region  string
	plan    plan
	planned bool
	ranges  map[string]verdict // by the first digits of the national number
}

// plan is what the short way needs to know of a region's mobiles.
type plan struct {
	code   string // country code
	trunk  string // dialled before a national number
	starts string // first digits of the numbers that are read the short way
	size   int    // digits of a national number
	head   int    // digits that decide what the number is; the rest is free
	but    string // heads whose later digits matter too, each between spaces
}

// plans are the regions with a short way. TestReader compares it with Parse, so
// that a change of the number tables shows.
var plans = map[string]plan{
	"GB": {code: "44", trunk: "0", starts: "7", size: 10, head: 5, but: " 76245 "},
	"IE": {code: "353", trunk: "0", starts: "8", size: 9, head: 4},
	"AU": {code: "61", trunk: "0", starts: "4", size: 9, head: 5, but: " 49157 "},
	"US": {code: "1", trunk: "1", starts: "23456789", size: 10, head: 6},
	"CA": {code: "1", trunk: "1", starts: "23456789", size: 10, head: 6},
}

// verdict says what the numbers of a range are.
type verdict struct {
	known  bool // they are in use and take the short way
	line   Line
	region string
}

// NewReader makes a Reader for a region, an ISO 3166-1 alpha-2 code.
func NewReader(region string) *Reader {
	region = strings.ToUpper(region)
	p, ok := plans[region]
	return &Reader{region: region, plan: p, planned: ok, ranges: map[string]verdict{}}
}

// Parse reads one cell as the function Parse does.
func (r *Reader) Parse(typed string) (Number, error) { return Parse(typed, r.region) }

// Short reads a plain mobile number of the region by what is known of its range.
// Such a number has no National form. Where ok is false nothing is said: Parse
// decides.
func (r *Reader) Short(typed string) (n Number, ok bool) {
	if !r.planned {
		return Number{}, false
	}
	var buf [24]byte
	e164 := append(buf[:0], '+')
	e164 = append(e164, r.plan.code...)
	national, ok := r.national(typed, e164)
	if !ok {
		return Number{}, false
	}
	number := string(national)
	tail := number[len(number)-r.plan.size:]
	n = Number{E164: number, Typed: typed, Region: r.region, Line: Mobile}
	if f, isFiction := fiction(number); isFiction {
		n.Fiction = true
		if f.region != "" {
			n.Region, n.Line = f.region, f.line
			return n, true
		}
	}
	v, seen := r.ranges[tail[:r.plan.head]]
	if !seen {
		v = r.judge(tail)
		r.ranges[tail[:r.plan.head]] = v
	}
	n.Line, n.Region = v.line, v.region
	return n, v.known
}

// national appends the national digits of a plainly written number to e164.
func (r *Reader) national(typed string, e164 []byte) ([]byte, bool) {
	start := len(e164)
	plus := false
	for i := range len(typed) {
		switch c := typed[i]; {
		case c >= '0' && c <= '9':
			if len(e164) == cap(e164) {
				return nil, false
			}
			e164 = append(e164, c)
		case c == '+' && len(e164) == start && !plus:
			plus = true
		case c == ' ' || c == '-':
		default:
			return nil, false
		}
	}
	digits := e164[start:]
	p := r.plan
	var skip int
	switch {
	case plus && len(digits) == p.size+len(p.code) && string(digits[:len(p.code)]) == p.code:
		skip = len(p.code)
	case !plus && len(digits) == p.size+len(p.trunk) && string(digits[:len(p.trunk)]) == p.trunk:
		skip = len(p.trunk)
	case !plus && len(digits) == p.size:
	default:
		return nil, false
	}
	if strings.IndexByte(p.starts, digits[skip]) < 0 {
		return nil, false
	}
	return append(e164[:start], digits[skip:]...), true
}

// judge asks the number tables about a range, once.
func (r *Reader) judge(national string) verdict {
	if strings.Contains(r.plan.but, " "+national[:r.plan.head]+" ") {
		return verdict{}
	}
	n, err := Parse("+"+r.plan.code+national, r.region)
	if err != nil {
		return verdict{}
	}
	return verdict{known: n.Line.TakesTexts(), line: n.Line, region: n.Region}
}
