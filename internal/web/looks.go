package web

import "sync"

// Looks holds what pages are made of and what is no kitchen's: their files,
// templates and words. All kitchens of a process may share one. The zero value
// is ready, and it is safe for concurrent use.
type Looks struct {
	mu     sync.Mutex
	loaded bool
	static static
	by     map[string]map[string]look // by region and language
}

// look is the pages in one language, as it is written in one region.
type look struct {
	tongue *tongue
	pages  *pages
}

// in gives the files, and the pages of a kitchen in a region by language.
func (l *Looks) in(region string) (static, map[string]look, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if !l.loaded {
		files, err := loadStatic()
		if err != nil {
			return static{}, nil, err
		}
		l.static, l.by, l.loaded = files, map[string]map[string]look{}, true
	}
	if all, ok := l.by[region]; ok {
		return l.static, all, nil
	}
	tongues, err := loadTongues(region)
	if err != nil {
		return static{}, nil, err
	}
	all := map[string]look{}
	for lang, words := range tongues {
		pages, err := loadPages(l.static, words)
		if err != nil {
			return static{}, nil, err
		}
		all[lang] = look{words, pages}
	}
	l.by[region] = all
	return l.static, all, nil
}
