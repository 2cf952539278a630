package reading

import "strings"

// reactions are the words in which phones write that somebody put a heart or the like to
// a text of ours (common practice, no source).
var reactions = map[string]Intent{
	"liked": Thanks, "loved": Thanks, "emphasized": Thanks, "emphasised": Thanks, "laughed at": Thanks,
	"questioned": Ask, "disliked": Ask,
}

// ownWords leaves out a text of ours that a reaction quotes, and tells what the reaction
// is for: `Loved “Your order will be ready at 6”` is "Loved". It gives any other text as
// it is, and no intent.
func ownWords(text string) (string, Intent) {
	t := strings.TrimSpace(text)
	i := strings.IndexAny(t, `“"`)
	if i <= 0 || !strings.HasSuffix(t, "”") && !strings.HasSuffix(t, `"`) {
		return text, ""
	}
	before := strings.ToLower(strings.TrimSpace(t[:i]))
	if intent, ok := reactions[before]; ok {
		return t[:i], intent
	}
	if rest, ok := strings.CutPrefix(before, "reacted "); ok && strings.HasSuffix(rest, " to") && strings.Count(rest, " ") == 1 {
		return t[:i], Thanks
	}
	return text, ""
}

// reacts settles a reaction.
func (s *scan) reacts(out *Reading) bool {
	if s.reaction == "" {
		return false
	}
	out.Intent, out.Asks, out.Why = s.reaction, s.reaction == Ask, "A reaction to a text of ours."
	return true
}
