package rehearsal

import (
	"fmt"
	"math/rand/v2"
	"strings"
)

// car is what a customer comes in.
type car struct {
	colour string
	brand  string // as people write it
	model  string
	plate  string // "LX19 KTO"
}

type model struct{ brand, name string }

func models() []model {
	return []model{
		{"Ford", "Fiesta"}, {"Ford", "Focus"}, {"Ford", "Kuga"}, {"Vauxhall", "Corsa"}, {"Vauxhall", "Astra"},
		{"VW", "Golf"}, {"VW", "Polo"}, {"Volkswagen", "Tiguan"}, {"Toyota", "Yaris"}, {"Toyota", "Prius"},
		{"Nissan", "Qashqai"}, {"Nissan", "Juke"}, {"Kia", "Sportage"}, {"Kia", "Picanto"}, {"Hyundai", "Tucson"},
		{"Peugeot", "208"}, {"Peugeot", "3008"}, {"Renault", "Clio"}, {"Renault", "Captur"}, {"Skoda", "Fabia"},
		{"Skoda", "Octavia"}, {"Seat", "Ibiza"}, {"Honda", "Jazz"}, {"Honda", "Civic"}, {"Mazda", "MX-5"},
		{"Fiat", "500"}, {"BMW", "X3"}, {"Audi", "A3"}, {"Mercedes", "A class"}, {"Volvo", "XC60"},
		{"Dacia", "Duster"}, {"Suzuki", "Swift"}, {"Citroen", "C3"}, {"Land Rover", "Discovery"}, {"Tesla", "Model 3"},
	}
}

func colours() []string {
	return []string{"black", "white", "grey", "silver", "blue", "red", "dark blue", "green", "orange", "light blue"}
}

func newCar(rnd *rand.Rand) car {
	m := pick(rnd, models())
	return car{colour: pick(rnd, colours()), brand: m.brand, model: m.name, plate: plate(rnd)}
}

// plate makes a registration in the form that Great Britain has used since 2001:
// two letters, two digits for the half year, three letters (DVLA INF104).
func plate(rnd *rand.Rand) string {
	const tag, tail = "ABCDEFGHJKLMNOPRSTUVWXY", "ABCDEFGHJKLMNOPRSTUVWXYZ"
	letter := func(from string) byte { return from[rnd.IntN(len(from))] }
	age := 10 + rnd.IntN(16)
	if chance(rnd, 0.5) {
		age += 50
	}
	return fmt.Sprintf("%c%c%02d %c%c%c", letter(tag), letter(tag), age, letter(tail), letter(tail), letter(tail))
}

// short describes the car without its plate, in one of the ways people do.
func (c car) short(rnd *rand.Rand) string {
	switch rnd.IntN(5) {
	case 0:
		return c.colour + " " + strings.ToLower(c.brand) + " " + strings.ToLower(c.model)
	case 1:
		return strings.ToLower(c.colour + " " + c.model)
	case 2:
		return c.brand + " " + c.model + ", " + c.colour
	case 3:
		return strings.ToUpper(c.colour[:1]) + c.colour[1:] + " " + c.brand + " " + c.model
	}
	return c.colour + " " + c.brand + " " + c.model
}

// colourAndBrand is the least that people say.
func (c car) colourAndBrand() string { return c.colour + " " + strings.ToLower(c.brand) }

// reg writes the plate in one of the ways people do.
func (c car) reg(rnd *rand.Rand) string {
	switch rnd.IntN(4) {
	case 0:
		return strings.ToLower(c.plate)
	case 1:
		return strings.ReplaceAll(c.plate, " ", "")
	case 2:
		return strings.ToLower(strings.ReplaceAll(c.plate, " ", ""))
	}
	return c.plate
}
