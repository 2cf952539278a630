package rehearsal

import (
	"fmt"
	"math/rand/v2"
	"strings"
)

// The kitchen's menu. The words "frozen" and "sauce" and the like decide the
// bag, as in any order book.

func hotDishes() []string {
	return []string{
		"Pork and leek dumplings (10)", "Lamb and cumin dumplings (10)", "Spinach and egg dumplings (10)",
		"Beef and celery dumplings (10)", "King oyster dumplings (10)", "Prawn and courgette dumplings (10)",
		"Pan fried duck dumplings (8)", "Squash and ginger dumplings (10)", "Soup dumplings (6)",
	}
}

func coldDishes() []string {
	return []string{
		"Frozen pork and leek dumplings (30)", "Frozen squash and ginger dumplings (30)", "Smacked cucumber salad",
		"Cold sesame noodles", "Black bean salad", "Iced barley tea",
	}
}

func extras() []string {
	return []string{"Larkfield chilli oil", "Black vinegar dip", "Peanut sauce", "Chopsticks"}
}

// plainNotes are notes without an allergy in them.
func plainNotes() []string {
	return []string{
		"birthday tea, 7 today!", "please ring the bell if no answer", "paid by bank transfer", "regular",
		"can we have two bags please", "first time ordering", "will share with the neighbours", "extra napkins please",
		"grandad collects", "knows the way",
	}
}

func allergyNotes() []string {
	return []string{
		"severe peanut allergy, carries an epipen", "coeliac, please keep apart", "allergic to sesame",
		"no shellfish please, allergy", "vegan household", "egg allergy (the little one)", "lactose intolerant",
		"halal only please", "crustacean allergy - no prawns near it",
	}
}

// items writes an order's items as they stand in the order book.
func items(rnd *rand.Rand) string {
	var out []string
	add := func(list []string, lines, most int) {
		for _, i := range rnd.Perm(len(list))[:min(lines, len(list))] {
			out = append(out, fmt.Sprintf("%dx %s", 1+rnd.IntN(most), list[i]))
		}
	}
	add(hotDishes(), 1+rnd.IntN(3), 3)
	if chance(rnd, 0.45) {
		add(coldDishes(), 1+rnd.IntN(2), 2)
	}
	if chance(rnd, 0.7) {
		add(extras(), 1+rnd.IntN(2), 2)
	}
	return strings.Join(out, "; ")
}

func chance(rnd *rand.Rand, p float64) bool { return rnd.Float64() < p }

func pick[T any](rnd *rand.Rand, list []T) T { return list[rnd.IntN(len(list))] }
