package web

import "sync"

// Looks holds what pages are made of and what is no kitchen's: their files,
// templates and words. All kitchens of a process may share one. The zero value
// is ready, and it is safe for concurrent use.
type Looks struct {
	mu     sync.Mutex
	static static
	by     map[spokenIn]look // nil before the files are loaded
}

// spokenIn is a language, and the region in whose way it is written.
type spokenIn struct{ language, region string }

// look is the pages in one language, as it is written in one region.
type look struct {
	tongue *tongue
	pages  *pages
}

// in gives the files, and the pages in a language.
func (l *Looks) in(key spokenIn) (static, look, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.by == nil {
		files, err := loadStatic()
		if err != nil {
			return static{}, look{}, err
		}
		l.static, l.by = files, map[spokenIn]look{}
	}
	if made, ok := l.by[key]; ok {
		return l.static, made, nil
	}
	words, err := loadTongue(key.region, key.language)
	if err != nil {
		return static{}, look{}, err
	}
	pages, err := loadPages(l.static, words)
	if err != nil {
		return static{}, look{}, err
	}
	l.by[key] = look{words, pages}
	return l.static, l.by[key], nil
}
