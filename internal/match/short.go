package match

import (
	"strings"

	"passbell/internal/reading"
)

// shortNamed gives the orders of those whom a text calls by a short form of their first
// name, behind "for" and the like: "outside for Bev". It makes them likely, never sure.
func (x *Index) shortNamed(toks []reading.Token) []int {
	var out []int
	for k := range toks {
		t := &toks[k]
		if t.Kind != reading.Word || len(t.Text) < 2 || t.Everyday() && !t.Upper {
			continue
		}
		switch textAt(toks, k-1) {
		case "for", "under", "name", "collecting", "is", "para", "pour":
		default:
			if !t.Possessive {
				continue
			}
		}
		for i := range x.names {
			if len(x.names[i]) > 0 && shortens(t.Text, x.names[i][0]) {
				out = appendNew(out, i)
			}
		}
	}
	return out
}

// shortens tells whether a word is a short form of a first name: its beginning, or one
// of the forms that go another way.
func shortens(short, name string) bool {
	if len(short) >= 3 && len(short) < len(name) && strings.HasPrefix(name, short) {
		return true
	}
	for _, full := range strings.Fields(shortForms[short]) {
		if strings.HasPrefix(name, full) {
			return true
		}
	}
	return false
}

// shortForms are short forms of first names that are not their beginnings, with how the
// names begin. Common practice, no source.
var shortForms = map[string]string{
	"bob": "rob", "bobby": "rob", "bill": "will", "billy": "will", "dick": "rich", "rick": "rich fred patri", "jack": "john", "jim": "james", "jimmy": "james",
	"jamie": "james", "harry": "har henry", "hank": "henry", "chuck": "charl", "charlie": "charl", "ted": "edw theo", "ned": "edw", "eddie": "edw", "tony": "antho anto",
	"mike": "micha", "mick": "micha", "mickey": "micha", "steve": "steph stev", "dave": "dav", "andy": "andr", "drew": "andr", "joe": "jos", "pepe": "jose", "paco": "franc",
	"nacho": "ignac", "lupe": "guadal", "liz": "eliz", "lizzie": "eliz", "beth": "eliz", "betty": "eliz", "libby": "eliz", "peggy": "marg", "maggie": "marg", "meg": "marg",
	"molly": "mary", "polly": "mary", "sally": "sarah", "kate": "kat cat", "katie": "kat cat", "kathy": "kat cat", "kit": "kat chris", "cathy": "cat", "nell": "hel elea",
	"ellie": "elea elen", "sandy": "alex sandr", "alec": "alex", "lex": "alex", "sasha": "alex", "trish": "patri", "paddy": "patri", "patsy": "patri", "shaz": "shar", "shazza": "shar",
	"daz": "dar", "gaz": "gar", "baz": "bar", "jez": "jer", "jezza": "jer", "kez": "ker", "tez": "ter", "moz": "maur morr", "chaz": "charl", "loz": "laur", "suzy": "sus suz", "sue": "sus suz",
	"sukie": "sus", "nan": "ann nanc", "nancy": "ann", "becky": "rebe", "becca": "rebe", "debs": "deb", "debbie": "deb", "bernie": "bern", "connie": "const cons", "dot": "doro", "dolly": "doro",
	"fanny": "franc", "frankie": "franc", "gerry": "ger", "jerry": "ger jer", "ginny": "virg", "hettie": "henr", "jenny": "jen", "lenny": "leon", "len": "leon", "larry": "lawr laur",
	"maisie": "marg", "mandy": "aman", "minnie": "wilh", "olly": "oliv", "rusty": "russ", "tess": "ther tere", "tilly": "mati math", "tina": "chris mart",
	"trixie": "beatr", "zack": "zach", "xander": "alex", "abby": "abig", "benny": "benj", "manny": "emm man", "vicky": "vict", "ziggy": "sigm",
	"concha": "conce", "chuy": "jesus", "chema": "jose", "chava": "salva", "beto": "albe robe humb", "quique": "enri", "kike": "enri", "memo": "guill", "nando": "ferna", "toni": "anto", "chelo": "cons",
}
