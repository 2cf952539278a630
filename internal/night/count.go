package night

// Count says how often something was changed, as one server counted it: where the
// same comes twice, nothing was changed between. A server that took another one's
// place may be behind it and count the same numbers once more, so those of two lives
// are never the same.
type Count struct {
	Life    int64 // connections that had been opened to the server by then
	Changes int64
}
