package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"passbell/internal/book"
	"passbell/internal/night"
	"passbell/internal/phone"
)

// bookNight is what a check has to know of the night, as NIGHT.json gives it.
type bookNight struct {
	Region      string      `json:"region"`
	Timezone    string      `json:"timezone"`
	Date        night.Date  `json:"date"`
	FirstSlot   night.Clock `json:"first_slot"`
	LastSlot    night.Clock `json:"last_slot"`
	SlotMinutes int         `json:"slot_minutes"`
}

// readNightFile reads a NIGHT.json. A check by a file alone sends nothing, so it
// takes numbers that are reserved for fiction.
func readNightFile(file string) (book.Options, error) {
	var n bookNight
	data, err := os.ReadFile(file)
	if err != nil {
		return book.Options{}, fmt.Errorf("read the night: %w", err)
	}
	if err := json.Unmarshal(data, &n); err != nil {
		return book.Options{}, fmt.Errorf("%s is no description of a night: %w", filepath.Base(file), err)
	}
	return n.options()
}

// options turns the night into what the reader of books needs.
func (n bookNight) options() (book.Options, error) {
	zone, err := time.LoadLocation(n.Timezone)
	if err != nil || n.Timezone == "" {
		return book.Options{}, fmt.Errorf("the night's timezone %q is not known: write it as Europe/London", n.Timezone)
	}
	if !phone.Region(n.Region) {
		return book.Options{}, fmt.Errorf("the night's region %q is no country: write it as GB", n.Region)
	}
	on := night.Night{Date: n.Date, First: n.FirstSlot, Last: n.LastSlot, Every: n.SlotMinutes}
	if err := on.Validate(zone); err != nil {
		return book.Options{}, fmt.Errorf("the night: %w", err)
	}
	return book.Options{Region: n.Region, Zone: zone, Night: on, Fiction: true}, nil
}

// runBookCheck reads an order book and prints what loading it would do. Nothing
// is changed.
func runBookCheck(w io.Writer, file string, opt book.Options, asJSON bool) (err error) {
	f, err := os.Open(file)
	if err != nil {
		return fmt.Errorf("open the order book: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	b, err := book.Read(f, filepath.Base(file), opt)
	if err != nil {
		return err
	}
	if asJSON {
		return b.WriteJSON(w)
	}
	return b.WriteText(w)
}
