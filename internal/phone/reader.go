package phone

// Reader reads many numbers of one region. It is not safe for use by several
// goroutines at once.
type Reader struct {
	region string
}

// NewReader makes a Reader for a region, an ISO 3166-1 alpha-2 code.
func NewReader(region string) *Reader { return &Reader{region: region} }

// Parse reads one cell as Parse does.
func (r *Reader) Parse(typed string) (Number, error) { return Parse(typed, r.region) }
