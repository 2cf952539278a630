package night_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"passbell/internal/night"
)

func TestVehicleMerge(t *testing.T) {
	t.Parallel()
	golf := night.Vehicle{Colours: []string{"grey"}, Make: "Volkswagen", Model: "Golf", Plate: "LX19KTO"}
	tests := []struct {
		name              string
		had, later, wants night.Vehicle
	}{
		{"nothing known", night.Vehicle{}, golf, golf},
		{"nothing new", golf, night.Vehicle{}, golf},
		{"another colour", golf, night.Vehicle{Colours: []string{"blue"}}, night.Vehicle{Colours: []string{"blue"}, Make: "Volkswagen", Model: "Golf", Plate: "LX19KTO"}},
		{"another make drops the model", golf, night.Vehicle{Make: "Ford"}, night.Vehicle{Colours: []string{"grey"}, Make: "Ford", Plate: "LX19KTO"}},
		{"the same make keeps the model", golf, night.Vehicle{Make: "Volkswagen"}, golf},
		{"a model of the same make", golf, night.Vehicle{Make: "Volkswagen", Model: "Polo"}, night.Vehicle{Colours: []string{"grey"}, Make: "Volkswagen", Model: "Polo", Plate: "LX19KTO"}},
		{"part of a plate adds nothing to a whole one", golf, night.Vehicle{PlatePart: "KTO"}, golf},
		{"a whole plate replaces a part", night.Vehicle{PlatePart: "KTO"}, night.Vehicle{Plate: "LX19KTO"}, night.Vehicle{Plate: "LX19KTO"}},
		{"a body", golf, night.Vehicle{Body: "van"}, night.Vehicle{Colours: []string{"grey"}, Make: "Volkswagen", Model: "Golf", Body: "van", Plate: "LX19KTO"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			require.Equal(t, tt.wants, tt.had.Merge(tt.later))
		})
	}
}

func TestVehicleInWords(t *testing.T) {
	t.Parallel()
	require.True(t, night.Vehicle{}.IsZero())
	require.Empty(t, night.Vehicle{}.String())
	for want, v := range map[string]night.Vehicle{
		"grey Volkswagen Golf, LX19KTO": {Colours: []string{"grey"}, Make: "Volkswagen", Model: "Golf", Plate: "LX19KTO"},
		"silver or blue van":            {Colours: []string{"silver", "blue"}, Body: "van"},
		"LX19KTO":                       {Plate: "LX19KTO"},
		"…KTO":                          {PlatePart: "KTO"},
	} {
		require.False(t, v.IsZero())
		require.Equal(t, want, v.String())
	}
}
