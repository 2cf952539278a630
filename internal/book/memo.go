package book

// memoSize bounds what a memo keeps. An order book repeats itself: slots, dishes
// and statuses are few, however many orders there are.
const memoSize = 1 << 14

// memo keeps what a pure function made of a text.
type memo[V any] map[string]V

func (m memo[V]) get(key string, make func(string) V) V {
	v, ok := m[key]
	if !ok {
		v = make(key)
		if len(m) < memoSize {
			m[key] = v
		}
	}
	return v
}

// memos are the memos of one reading.
type memos struct {
	names memo[string]   // tidied
	cells memo[readCell] // cells of items
	items memo[readItem] // single items
	notes memo[string]   // allergies of notes
	slots memo[readSlot] // cells of slots
	dates memo[found]    // dates of any text
}

func newMemos() memos {
	return memos{
		names: memo[string]{}, cells: memo[readCell]{}, items: memo[readItem]{}, notes: memo[string]{},
		slots: memo[readSlot]{}, dates: memo[found]{},
	}
}
