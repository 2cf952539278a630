package words

import (
	_ "embed"
	"strings"
	"sync"
)

//go:embed common.txt
var commonText string

// common holds everyday words of texts; filled once, read only.
var common = sync.OnceValue(func() map[string]struct{} {
	set := make(map[string]struct{}, 2500)
	for w := range strings.FieldsSeq(commonText) {
		set[w] = struct{}{}
	}
	return set
})

// Common tells whether low, a folded word, is an everyday word of texts in
// English or Spanish. It is what keeps "place" from being a slip for a car and
// "for 1730" from being a plate.
func Common(low string) bool {
	_, ok := common()[low]
	return ok
}

// Spelling gives the letter or digits that a word stands for when a plate is
// spelled out: the ICAO alphabet ("alpha" or "alfa"; "x-ray" is two words) and the
// English number words to nineteen and the tens.
func Spelling(low string) (sign string, ok bool) {
	sign, ok = spelling()[low]
	return sign, ok
}

// LetterName gives the letter that a word names ("kay", "ell", "zed"). Many are
// everyday words, so that they count only among other signs of a plate.
func LetterName(low string) (letter string, ok bool) {
	letter, ok = letterNames()[low]
	return letter, ok
}

// Filled once, read only. Source: ICAO Annex 10, Volume II, 5.2.1.3, with everyday
// spellings from memory.
var spelling = sync.OnceValue(func() map[string]string {
	return pairs(`alfa A alpha A bravo B charlie C charley C delta D echo E foxtrot F golf G hotel H india I
juliett J juliet J juliette J kilo K lima L mike M november N oscar O papa P quebec Q romeo R sierra S tango T
uniform U victor V whiskey W whisky W xray X yankee Y zulu Z
zero 0 oh 0 nought 0 naught 0 one 1 two 2 three 3 four 4 five 5 fife 5 six 6 seven 7 eight 8 nine 9 niner 9
ten 10 eleven 11 twelve 12 thirteen 13 fourteen 14 fifteen 15 sixteen 16 seventeen 17 eighteen 18 nineteen 19
twenty 20 thirty 30 forty 40 fifty 50 sixty 60 seventy 70 eighty 80 ninety 90`)
})

// letterNames, from memory.
var letterNames = sync.OnceValue(func() map[string]string {
	return pairs(`ay A bee B be B cee C see C sea C dee D ee E eff F ef F gee G aitch H haitch H eye I jay J kay K ell L el L
em M en N owe O pee P pea P queue Q cue Q ar R are R ess S es S tee T tea T you U yew U vee V doubleyou W ex X
why Y wye Y zed Z zee Z`)
})

func pairs(text string) map[string]string {
	fields := strings.Fields(text)
	m := make(map[string]string, len(fields)/2)
	for i := 0; i+1 < len(fields); i += 2 {
		m[fields[i]] = fields[i+1]
	}
	return m
}
