package plates

import (
	"strings"
	"sync"
)

// placesText holds the names by which customers name the state or province of a
// plate: country, code, names. A code by itself counts where it is typed in
// capitals, or beside a plate where it is no everyday word.
const placesText = `US AL alabama;US AK alaska;US AZ arizona|ariz;US AR arkansas;US CA california|cali|calif
US CO colorado;US CT connecticut|conn;US DE delaware;US DC washington dc|district of columbia|dc
US FL florida|fla;US GA georgia;US HI hawaii;US ID idaho;US IL illinois;US IN indiana;US IA iowa
US KS kansas;US KY kentucky;US LA louisiana;US ME maine;US MD maryland;US MA massachusetts|mass
US MI michigan|mich;US MN minnesota|minn;US MS mississippi;US MO missouri;US MT montana;US NE nebraska|nebr
US NV nevada|nev;US NH new hampshire;US NJ new jersey|jersey;US NM new mexico|nuevo mexico;US NY new york
US NC north carolina;US ND north dakota;US OH ohio;US OK oklahoma|okla;US OR oregon;US PA pennsylvania|penn
US RI rhode island;US SC south carolina;US SD south dakota;US TN tennessee|tenn;US TX texas|tex|tejas
US UT utah;US VT vermont;US VA virginia;US WA washington|wash;US WV west virginia
US WI wisconsin|wisc;US WY wyoming
CA ON ontario|ont;CA QC quebec;CA BC british columbia;CA AB alberta|alta;CA SK saskatchewan|sask;CA MB manitoba
CA NB new brunswick;CA NS nova scotia;CA PE prince edward island|pei;CA NL newfoundland|nfld;CA YT yukon
CA NT northwest territories;CA NU nunavut
AU NSW new south wales|nsw;AU QLD queensland|qld;AU VIC victoria|vic|victorian;AU SA south australia|sth aus
AU WA western australia;AU TAS tasmania|tas|tassie;AU ACT act|canberra;AU NT northern territory`

// place is a state or province.
type place struct {
	country, area string
	// code is true for the two or three letters themselves, which may be an
	// everyday word.
	code bool
}

// places maps a name without blanks to its place; filled once, read only.
var places = sync.OnceValue(func() map[string]place {
	m := make(map[string]place, 160)
	for _, entry := range strings.FieldsFunc(placesText, func(r rune) bool { return r == ';' || r == '\n' }) {
		country, rest, _ := strings.Cut(entry, " ")
		area, names, _ := strings.Cut(rest, " ")
		if _, taken := m[strings.ToLower(area)]; !taken {
			m[strings.ToLower(area)] = place{country: country, area: area, code: true}
		}
		for _, n := range strings.Split(names, "|") {
			n = strings.ReplaceAll(n, " ", "")
			m[n] = place{country: country, area: area, code: len(n) <= 3}
		}
	}
	return m
})
