package night

import "time"

// OwnText is what a kitchen puts in the place of one of the texts to customers,
// its fields not filled in.
type OwnText struct {
	Name  string // of the text that it replaces
	Words string
	At    time.Time // when it was saved
	By    string
}
