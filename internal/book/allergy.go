package book

import (
	"strings"
)

// Words that name an allergy, an intolerance or a diet by themselves, with the
// misspellings that people type. The foods are the fourteen allergens of the EU
// (Regulation 1169/2011, Annex II) and the nine of the United States (FALCPA
// and FASTER Act).
var (
	strong = pattern(`(?i)` + strings.Join([]string{
		`\ba+l+[ae]*r?[gj]+[iye]+r?[aecsty]*\b`, // allergy, alergy, allergie, allegy
		`al+erg`, `al+egic`, `\bal+erig`, `\baler[gj]`, `alérgic`,
		`\bc(?:o?e|eo|oi|o)l+i[ae]c`, `\bceliac`, `\bc[eo]+lia[ck]`, `celíac`, `\bsprue\b`,
		`intol+er[ae]n`, `\bsensitiv(?:e|ity|ities)\s+(?:to|stomach)`, `\b(?:food|gluten|dairy|nut|lactose)\s+sensitiv`,
		`ana(?:ph|f)[iy]l`, `\bepi[\s-]?pens?\b`, `\badrenalin`, `\bauto-?injector`, `\bantihist`,
		`\bg(?:l|u)(?:u|l)t[aei]n`, `\bglutin`, `\blactos[ea]`, `\bcas[ei]{1,2}n\b`,
		`\b(?:gf|df|nf|vg)\b`, `\bfodmap`,
		`\bvegan`, `\bveg[a-z]{0,4}tar`, `\bveg[ei]t[ae]?r[iy]`, `\bvegg?ies?\b(?:\s+(?:only|household|family|please|option|meal|box|order|diet))?`, `\bpes[ck][aeo]t`,
		`\bhal+al\b`, `\bharam\b`, `\bkosher\b`, `\bjain\b`, `\bhindu\b`, `\bketo\b`, `\bpaleo\b`, `\bdiabet`, `\blow[\s-](?:salt|sodium|sugar|carb)`,
		`\bdiet(?:ary)?\b`, `\bpregnan`,
		`\breacts?\s+(?:to|badly)`, `\breaction\s+to\b`, `\ballerg`, `\bcontaminat`, `\bmay contain\b`, `\btraces? of\b`,
		`\bno\s+onions?\b[^.]*\bno\s+garlic\b`, `\bno\s+garlic\b[^.]*\bno\s+onions?\b`,
		`\bplant[\s-]based\b`,
	}, `|`))
	// drinks are words in which "diet" is no diet.
	drinks = pattern(`(?i)\bdiet\s+(?:coke|cola|pepsi|soda|lemonade|drinks?|tonic|ginger)\b`)
	// noteOnly is too common in the names of dishes to warn of there.
	noteOnly = pattern(`(?i)\bveg\b`)
	freeOf   = pattern(`(?i)\b(?:gluten|sugar|salt|grain|lactose|allergen|additive|` + foods + `)[\s-]free\b`)
	harms    = pattern(`(?i)\b(?:` + foods + `)\s+(?:problems?|issues?|makes?|gives?|upsets?|kills?|sensitive)\b`)
	refuses  = pattern(`(?i)\b(?:mustn'?t|must not|can'?t|cannot|can not|unable to|doesn'?t|does not|don'?t|do not|not able to|not allowed to)\s+(?:(?:eat|tolerate|digest)\b|(?:have|touch|do|like|take)\s+(?:any\s+)?(?:` + foods + `)\b)`)
	foods    = `(?:pea|ground|pe|brazil|tree|hazel|wal|cashew|pine|coco)?[\s-]?nuts?|penuts?|almonds?|cashews?|pecans?|pistac?h?ios?|macadamias?|hazelnuts?|walnuts?|chestnuts?|satay|` +
		`milk|dairy|butter|cheese|cream|yogh?urt|whey|eggs?|fish|anchov(?:y|ies)|shel+[\s-]?fish|crustaceans?|prawns?|shrimps?|crabs?|lobsters?|` +
		`mol+us[ck]s?|mussels?|clams?|oysters?|squid|octopus|scallops?|soy|soya|soybeans?|tofu|wheat|barley|rye|oats?|spelt|flour|` +
		`s[ei]s[ae]me|tahini|mustard|celery|celeriac|lupin[es]?|sulphites?|sulfites?|so2|` +
		`pork|beef|meat|bacon|ham|chicken|lamb|alcohol|msg|gelatine?|garlic|` +
		`frutos secos|cacahuetes?|cacahuates?|maní|nueces|almendras?|marisco?s?|huevos?|leche|lácteos|lacteos|soja|sésamo|sesamo|mostaza|apio|altramu(?:z|ces)|sulfitos|pescado|moluscos|crustáceos|crustaceos|trigo|cerdo|carne`
	// without is a food that somebody wants left out.
	without = pattern(`(?i)\b(?:no|non|not|without|w/o|avoid(?:ing)?|hold the|leave out|leave off|omit|exclude|skip the|zero|never|any|contains?|sin|nada de|free of|free from|minus)\s+(?:any\s+|the\s+|all\s+)?(?:\pL+\s+(?:or|and|,|&)\s+)?(?:` + foods + `)\b`)
	food    = pattern(`(?i)\b(?:` + foods + `)\b`)
	// spanish names what the words above miss.
	spanish = pattern(`(?i)\bal[eé]rgi|\bcel[ií]ac|\bintoleran|\bsin\s+(?:gluten|lactosa|azúcar)|\bvegan[oa]|\bvegetarian[oa]|\bfrutos secos\b|\bembarazada`)
	// nothing says that there is none.
	nothing = pattern(`(?i)\b(?:no|none|nil|zero|not any|without|sin|ninguna?)\s+(?:known\s+|food\s+|special\s+|particular\s+)*(?:al+ergie?s?|al+ergy|al+ergens?|dietary(?:\s+(?:requirements?|needs|restrictions|notes|info))?|diets?|intolerances?|alergias?|intolerancias?)(?:\s*(?:or|and|/|,|&)\s*(?:dietary(?:\s+\w+)?|intolerances?|al+ergies))?\b|\bnkda?\b|\b(?:al+ergies|dietary(?: requirements)?)\s*[:=-]\s*(?:none|no|nil|n/?a)\b`)
	empty   = pattern(`(?i)^\W*(?:none|no|nope|nil|n\s*/?\s*a|nothing|not applicable|no thanks?|ninguna?|null|false|0|x|-|—)?\W*$`)
	// clauseEnd splits a note where a new thing begins.
	clauseEnd = pattern(`[.!?](?:\s+|$)|\n+|;\s*|\s\|\s`)
)

// allergyIn gives the whole sentences of a note that name an allergy or a diet,
// as they stand; "" for none. It would rather flag one too many.
func allergyIn(note string) string {
	if note == "" || !namesAllergy(note) {
		return ""
	}
	var out []string
	parts := clauses(note)
	for i, p := range parts {
		if namesAllergy(p) || i > 0 && len(out) > 0 && namesAllergy(parts[i-1]) && food().MatchString(p) {
			out = append(out, p)
		}
	}
	if len(out) == 0 {
		return strings.TrimSpace(note)
	}
	return strings.Join(out, "; ")
}

func clauses(note string) []string {
	var out []string
	from := 0
	for _, at := range clauseEnd().FindAllStringIndex(note, -1) {
		end := at[0]
		if c := note[at[0]]; c == '!' || c == '?' {
			end++
		}
		if p := strings.TrimSpace(note[from:end]); p != "" {
			out = append(out, p)
		}
		from = at[1]
	}
	if p := strings.TrimSpace(note[from:]); p != "" {
		out = append(out, p)
	}
	return out
}

func namesAllergy(s string) bool {
	s = strings.ReplaceAll(s, "’", "'")
	denied := false
	if nothing().MatchString(s) {
		denied = true
		s = nothing().ReplaceAllString(s, " ")
	}
	if warns(s) || noteOnly().MatchString(s) {
		return true
	}
	if denied {
		return food().MatchString(s)
	}
	return onlyFoods(s)
}

// onlyFoods tells whether a note is nothing but a list of allergens, such as
// "nuts, sesame".
func onlyFoods(s string) bool {
	if !food().MatchString(s) {
		return false
	}
	rest := strings.ToLower(food().ReplaceAllString(s, " "))
	for _, w := range strings.FieldsFunc(rest, func(r rune) bool { return !isLetterOrDigit(r) }) {
		if w != "and" && w != "or" && w != "y" && w != "severe" && w != "mild" && w != "also" && w != "tree" {
			return false
		}
	}
	return true
}

// allergyInItem flags an item by the words that name a diet or an allergy. A
// food alone, as in "Prawn har gow", is the dish and not a warning.
func allergyInItem(name string) string {
	if warns(strings.ReplaceAll(name, "’", "'")) {
		return name
	}
	return ""
}

func warns(s string) bool {
	s = drinks().ReplaceAllString(s, " ")
	return strong().MatchString(s) || spanish().MatchString(s) || without().MatchString(s) || freeOf().MatchString(s) || refuses().MatchString(s) || harms().MatchString(s)
}

// allergyCell reads a column that is there for allergies: whatever it says
// counts, unless it says that there is none.
func allergyCell(s string) string {
	if empty().MatchString(s) {
		return ""
	}
	if nothing().MatchString(s) {
		if rest := nothing().ReplaceAllString(s, " "); empty().MatchString(rest) {
			return ""
		}
	}
	return s
}

// joinAllergy adds words to a flag, once each, never shortened.
func joinAllergy(flag, more string) string {
	switch {
	case more == "" || strings.Contains(flag, more):
		return flag
	case flag == "" || strings.Contains(more, flag):
		return more
	}
	return flag + "; " + more
}
