package book

import (
	"strings"
)

// separators in the order in which they win a draw.
const separators = ",;\t|"

// openCSV reads text with separated values: RFC 4180 and what programs write
// in its name. Every cell is a piece of text, which is not copied.
func openCSV(text string) sheet {
	s := sheet{format: "csv"}
	text, sep, given := declared(text)
	if !given {
		sep = sniff(text)
	}
	switch sep {
	case '\t':
		s.format = "tsv"
	case ';':
		s.format = "semicolons"
	case '|':
		s.format = "bars"
	}
	p := splitter{text: text, sep: sep}
	s.rows = make([]row, 0, strings.Count(text, "\n")+1)
	for num := 1; p.more(); num++ {
		if cells, ok := p.record(); ok {
			s.rows = append(s.rows, row{num: num, cells: cells})
		}
	}
	if inner, ok := wrapped(s.rows); ok {
		return openCSV(inner)
	}
	for _, num := range p.open {
		s.notes = append(s.notes, Problem{
			Row: num, Field: "file", Level: Look,
			What: "a quotation mark is opened and never closed; it was read as part of the text",
			Fix:  "compare this row with the place it came from",
		})
	}
	return s
}

// wrapped undoes what some programs do when they save a CSV they did not
// understand: every line is one cell in quotation marks.
func wrapped(rows []row) (string, bool) {
	lines := make([]string, 0, len(rows))
	for _, r := range rows {
		if len(r.cells) != 1 || !strings.ContainsAny(r.cells[0], separators) {
			return "", false
		}
		lines = append(lines, r.cells[0])
	}
	if len(lines) < 2 || strings.ContainsAny(strings.Join(lines, ""), "\n") {
		return "", false
	}
	text := strings.Join(lines, "\n")
	p := splitter{text: text, sep: sniff(text)}
	first, _ := p.record()
	return text, len(first) > 2
}

// declared takes off a first line such as "sep=;", by which some spreadsheets
// are told the separator. It is no row.
func declared(text string) (rest string, sep byte, ok bool) {
	line, rest, _ := strings.Cut(text, "\n")
	line = strings.Trim(strings.TrimSpace(line), `"`)
	if len(line) >= 4 && strings.EqualFold(line[:4], "sep=") {
		switch len(line) {
		case 4: // the separator was a tab and went with the spaces
			return rest, '\t', true
		case 5:
			return rest, line[4], true
		}
	}
	return text, 0, false
}

// sniff finds the separator: the one that cuts the first rows into the most
// columns, counted by the rows that agree.
func sniff(text string) byte {
	best, bestScore := byte(','), 0
	for i := range len(separators) {
		p := splitter{text: text[:min(len(text), 64<<10)], sep: separators[i]}
		counts := map[int]int{}
		for range 40 {
			if !p.more() {
				break
			}
			if cells, ok := p.record(); ok && len(cells) > 1 {
				counts[len(cells)]++
			}
		}
		score := 0
		for width, rows := range counts {
			score = max(score, (width-1)*rows*rows)
		}
		if score > bestScore {
			best, bestScore = separators[i], score
		}
	}
	return best
}

// splitter cuts text into records and cells.
type splitter struct {
	text  string
	sep   byte
	pos   int
	num   int   // records seen
	open  []int // records whose quotation mark is never closed
	arena []string
}

func (p *splitter) more() bool { return p.pos < len(p.text) }

// record reads the next record; ok is false where nothing is in it. A line ends
// with LF, CRLF or CR, whichever comes.
func (p *splitter) record() (cells []string, ok bool) {
	p.num++
	start := len(p.arena)
	for {
		c, end := p.field()
		ok = ok || c != ""
		p.arena = append(p.arena, c)
		if end {
			break
		}
	}
	if !ok {
		p.arena = p.arena[:start]
		return nil, false
	}
	cells = p.arena[start:len(p.arena):len(p.arena)]
	if cap(p.arena)-len(p.arena) < 64 {
		p.arena = make([]string, 0, 4096)
	}
	return cells, true
}

// field reads one cell; end tells whether the record ends with it.
func (p *splitter) field() (value string, end bool) {
	i := p.pos
	for i < len(p.text) && p.text[i] == ' ' {
		i++
	}
	if i < len(p.text) && p.text[i] == '"' {
		if v, end, ok := p.quoted(i); ok {
			return v, end
		}
	}
	return p.plain()
}

func (p *splitter) plain() (value string, end bool) {
	i := p.pos
	for i < len(p.text) && p.text[i] != p.sep && p.text[i] != '\n' && p.text[i] != '\r' {
		i++
	}
	value = cell(p.text[p.pos:i])
	p.pos = i
	return value, p.after()
}

// after steps over what ends a cell.
func (p *splitter) after() (end bool) {
	switch {
	case p.pos >= len(p.text):
		return true
	case p.text[p.pos] == p.sep:
		p.pos++
		return false
	case p.text[p.pos] == '\r' && p.pos+1 < len(p.text) && p.text[p.pos+1] == '\n':
		p.pos += 2
	default:
		p.pos++
	}
	return true
}

// quoted reads a cell in quotation marks that open at i. A mark that stands
// single inside the cell is text if the cell is closed properly on the same
// line. A mark that never closes, or closes only beyond a length that no cell
// has, is no mark: one stray sign must not swallow the rows behind it.
func (p *splitter) quoted(i int) (value string, end, ok bool) {
	const longestCell = 64 << 10
	limit := p.text[:min(len(p.text), i+longestCell)]
	doubled, single := false, false
	j := i + 1
	for {
		k := strings.IndexByte(limit[j:], '"')
		if k < 0 || single && strings.ContainsAny(limit[j:j+k], "\r\n") {
			p.open = append(p.open, p.num)
			return "", false, false
		}
		j += k
		if j+1 < len(p.text) && p.text[j+1] == '"' {
			doubled = true
			j += 2
			continue
		}
		if p.closes(j + 1) {
			break
		}
		single = true
		j++
	}
	value = p.text[i+1 : j]
	if doubled {
		value = strings.ReplaceAll(value, `""`, `"`)
	}
	p.pos = j + 1
	for p.pos < len(p.text) && p.text[p.pos] == ' ' && p.sep != ' ' {
		p.pos++
	}
	return cell(value), p.after(), true
}

// closes tells whether a quotation mark before i ends its cell.
func (p *splitter) closes(i int) bool {
	for i < len(p.text) && p.text[i] == ' ' {
		i++
	}
	return i >= len(p.text) || p.text[i] == p.sep || p.text[i] == '\n' || p.text[i] == '\r'
}
