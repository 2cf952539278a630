package web

import (
	"net/http"
	"strconv"

	"passbell/internal/night"
	"passbell/internal/phone"
	"passbell/internal/wording"
)

// kitchenPage shows the rules that the configuration sets.
type kitchenPage struct {
	Kitchen, Night []rule
}

// rule is what holds and the settings in passbell.toml that change it.
type rule struct {
	What, Is string
	Settings []string
}

func (s *site) addKitchen(mux *http.ServeMux) {
	mux.HandleFunc("GET /kitchen", func(w http.ResponseWriter, r *http.Request) {
		s.present(w, r, view{Template: "kitchen", Title: s.t("The kitchen’s rules"), Tab: "more", Path: "/kitchen", Data: s.rules()}, nil, nil)
	})
}

func (s *site) rules() kitchenPage {
	k := s.Kitchen
	quiet := s.t("not set")
	if k.Quiet.From != k.Quiet.To {
		quiet = s.t("%s to %s: nothing is sent", s.slot(k.Quiet.From), s.slot(k.Quiet.To))
	}
	number, price := s.t("not set"), s.t("not known")
	if k.Number != "" {
		number = phone.National(k.Number)
	}
	if s.Price.PerPart > 0 {
		price = s.t("%s for a hundred parts", wording.Money(s.Price.Cost(100), s.Price.Currency))
	}
	closes := s.t("when you close them: you look at the plan first")
	if s.ClosesItself {
		closes = s.t("by themselves, at their time")
	}
	n := s.NewNight(night.DateOf(s.Now().In(k.Zone)))
	instructions, reminder := s.t("not set"), s.t("not set")
	if !n.InstructAt.IsZero() {
		instructions = s.t("at %s, %d days before", s.clock(n.InstructAt), daysBefore(n, k))
	}
	if n.RemindBefore > 0 {
		reminder = s.t("%s before the slot, not before %s", s.span(n.RemindBefore), s.slot(n.RemindFrom))
	}
	of := func(what, is string, settings ...string) rule { return rule{what, is, settings} }
	return kitchenPage{
		Kitchen: []rule{
			of(s.t("Name, as customers read it"), k.Name, "kitchen.name"),
			of(s.t("Number that customers write to"), number, "kitchen.number"),
			of(s.t("Quiet hours"), quiet, "kitchen.quiet_from", "kitchen.quiet_to"),
			of(s.t("Price of texts"), price, "kitchen.price"),
			of(s.t("Country, for numbers and plates"), k.Region, "kitchen.region"),
			of(s.t("Clock"), k.Zone.String(), "kitchen.zone"),
			of(s.t("Language of the texts"), languageName(s.Language), "kitchen.language"),
			of(s.t("Names, numbers and texts are wiped"), s.keeps(), "kitchen.keep_days"),
		},
		Night: []rule{
			of(s.t("Place"), orNone(s, n.Place), "night.place"),
			of(s.t("Parking"), orNone(s, n.Parking), "night.parking"),
			of(s.t("Minutes from slot to slot"), strconv.Itoa(n.Every), "night.every"),
			of(s.t("Orders a slot takes (0: no limit)"), strconv.Itoa(n.Capacity), "night.capacity"),
			of(s.t("Instructions go out"), instructions, "night.instruct_at", "night.instruct_days"),
			of(s.t("Reminder"), reminder, "night.remind_before", "night.remind_from"),
			of(s.t("Orders close"), closes, "night.close_by_itself"),
		},
	}
}

// keeps says for how long a night's names and numbers are kept.
func (s *site) keeps() string {
	if s.KeepDays == 0 {
		return s.t("only by hand")
	}
	return s.t("%d days after their night", s.KeepDays)
}

// languageName names a language in its own words.
func languageName(code string) string {
	for _, l := range languages {
		if l.Code == code {
			return l.Name
		}
	}
	return code
}

func orNone(s *site, words string) string {
	if words == "" {
		return s.t("not set")
	}
	return words
}

// daysBefore is how many days before the night its instructions go out.
func daysBefore(n night.Night, k night.Kitchen) int {
	days := 0
	for d := night.DateOf(n.InstructAt.In(k.Zone)); d.Before(n.Date); d = d.AddDays(1) {
		days++
	}
	return days
}
