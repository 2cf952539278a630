package reading

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestArrivalSenses tells arrivals from the same words in another sense. Common
// practice, no source.
func TestArrivalSenses(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name, when, text string
		intent           Intent
	}{
		{"tells the kitchen's help", "due", "tell Dave I'm outside", Here},
		{"an Irish perfect", "due", "I'm after arriving", Here},
		{"was there, comes back", "due", "was outside at 5.40, back at twenty to", Coming},
		{"somebody else at a time", "due", "I'm not here today, my son is coming, he is there at 18:20", Coming},
		{"goes for it in a car", "due", "she's gone for it in my Polo, there in 10", Coming},
		{"should be by", "due", "my sister should be by shortly", Coming},
		{"first of two received", "due", "got the second one, cheers", Thanks},
		{"the count is short", "served", "there is three not four", Problem},
		{"an order that must stay", "due", "running late, please don't give ours away", Coming},
		{"no more reminders, the food stays", "day", "please cancel the reminders", Stop},
		{"an opt-in that stands apart", "day", "sorry wrong button. START", Start},
		{"an opt-out that stands apart", "day", "I know when it is, thanks. STOP", Stop},
		{"the list is of texts", "day", "take me off the texts thanks, I know where you are", Stop},
		{"for one's own slot", "due", "Lucy H here for 6.10, orange Captur", Here},
		{"for one's own slot, ahead", "day", "will be here for 6.10", Coming},
		{"a car and a time to come", "due", "I come 6:15, red Camry", Coming},
		{"in French", "due", "je suis stationnée devant", Here},
		{"on the way in French", "due", "je pars de la maison", Coming},
		{"when there, in French", "day", "je vous texte quand je suis là", Thanks},
		{"nobody, in French", "there", "personne répond", Problem},
		{"another day in French", "day", "est-ce que je peux changer pour mardi?", Move},
		{"not coming, in French", "day", "finalement on viendra pas, vendez-les", Cancel},
		{"help in French", "day", "Aide", Help},
		{"checked, nothing is missing", "served", "all present and correct, ta", Thanks},
		{"not all the way", "due", "halfway down Roman Rd in a cab lol", Coming},
		{"somebody else fetches it in a car", "due", "me brother in law Mick's fetching ours not me, blue Berlingo", Car},
		{"another car than told", "due", "Changed cars. It's the work ute now, white", Car},
		{"asks where to stand", "due", "whereabouts do I stand, the front or the ramp round the back", Ask},
		{"at work, in Spanish", "due", "estoy aqui en el trabajo todavia, no he salido", Coming},
		{"well again, in Spanish", "day", "Perdón por lo de hoy, mi mamá ya está mejor", Other},
		{"not yet, in Tagalog", "due", "nde pa po ako dumating, text ko kayo pag nasa labas na", Coming},
		{"not yet, in Portuguese", "due", "ainda não cheguei, estou no trânsito", Coming},
		{"somebody is there, in Portuguese", "due", "minha esposa já está aí fora", Here},
		{"somebody is there, in Portuguese slang", "due", "tô aqui na porta", Here},
		{"has the food, in Portuguese", "there", "já peguei, obrigada!", Thanks},
		{"a reaction that quotes a text of ours", "day", "Loved “Your order L101 will be ready from 6.10pm today”", Thanks},
		{"a reaction with a question", "day", `Questioned "Collection is at 5 Mill Lane"`, Ask},
		{"a bag that never came", "there", "one of my two bags never made it out here", Problem},
		{"a dish that is not there", "there", "the rice was not with our order", Problem},
		{"another dish, not another time", "day", "can i change my macaroni pie to a steak pie", Ask},
		{"no call to say sorry", "served", "I have my order now, thank you. There was no call to apologise", Thanks},
		{"nobody turns up", "day", "Not turning up tonight as I said yesterday", Cancel},
		{"who may have the food", "due", "Please don't give it to anybody else, I am coming", Coming},
		{"back on, after a text gone astray", "day", "wrong chat sorry. unstop", Start},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got := Read(tt.text, situation(t, tt.when))
			require.Equal(t, tt.intent, got.Intent, got.Why)
		})
	}
}

// TestHourless reads times that name no hour; sent at 18:00, slot 18:10. Common
// practice, no source.
func TestHourless(t *testing.T) {
	t.Parallel()
	for text, due := range map[string]string{
		"be there by twenty to at the latest":        "18:40",
		"be there on the hour":                       "18:00",
		"heading to the shop, back at half":          "18:30",
		"late again sorry, ten more minutes":         "18:10",
		"leaving town now, sat nav says 6.25":        "18:25",
		"will be there right at 7 after all":         "19:00",
		"omw, 10ish":                                 "18:10",
		"be with you about 7 now":                    "19:00",
		"7 suits me, I'll be along":                  "19:00",
		"they tell me seven on the dot, on my way":   "19:00",
		"ya salgo, unos 15":                          "18:15",
		"j'arrive à 7h":                              "19:00",
		"running late, maybe ten or fifteen":         "18:25",
		"otw, hopefully 640":                         "18:40",
		"be another 5 sorry, the gates are down":     "18:05",
		"stuck on 640, maybe 25 more min":            "18:25",
		"stuck at the bridge. 20 minutes, maybe 25":  "18:25",
		"be there in 6 boys":                         "18:06",
		"on est pris, 7h moins quart au plus tard":   "18:45",
		"coming from town, hour and a quarter out":   "19:15",
		"on the bus x 12 mins":                       "18:12",
		"we're about ten minutes out, maybe fifteen": "18:15",
		"walking it, be there before half":           "18:30",
		"headed over, 7 like we said":                "19:00",
		"llego 6:28 o 6:30":                          "18:30",
		"on arrive dans deux minutes, Prius":         "18:02",
		"en retard, 15 de plus":                      "18:15",
		"je serai là vers 6h30":                      "18:30",
		"be there for ten to, five to at the most":   "18:55",
	} {
		t.Run(text, func(t *testing.T) {
			t.Parallel()
			got := Read(text, situation(t, "due"))
			require.Equal(t, Coming, got.Intent, got.Why)
			require.NotNil(t, got.Due, got.Why)
			require.Equal(t, due, got.Due.String())
		})
	}
}

// TestNoTime leaves out numbers of roads and of what is counted.
func TestNoTime(t *testing.T) {
	t.Parallel()
	for _, text := range []string{"no he llegado, hay un choque en la 1604", "on my way, 5 more lights to go", "on my way with my 2 boxes"} {
		got := Read(text, situation(t, "due"))
		require.Equal(t, Coming, got.Intent, got.Why)
		require.Nil(t, got.Due, text)
	}
}

func TestPromisedWithout(t *testing.T) {
	t.Parallel()
	require.True(t, Read("you told me there was no sesame", situation(t, "served")).Allergy)
	require.True(t, Read("I was promised it had no egg", situation(t, "served")).Allergy)
}
