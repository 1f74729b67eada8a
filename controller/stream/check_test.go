package stream

import (
	"reflect"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/show"
	"paneglow/render/power"
	"paneglow/render/table"
)

func panelShow() *table.Show {
	return &table.Show{Title: "here", FPS: 30, Then: 0, Silence: 2500, Lines: []string{"a"},
		Steady: 400_000, Surge: 600_000, Least: 90_000, Raise: 60, Slew: 9000,
		Further: []table.Supply{{Name: "five", Steady: 1, Surge: 2, Least: 3, Raise: 4, Slew: 5}},
		Parts: []table.Part{{Name: "p", Order: "GRB", Bit: 1250, Latch: 280_000, Gap: 5000,
			Part: power.Part{Dies: 3, Idle: 1000, Channel: [4]int64{12_000, 12_000, 12_000}}}},
		Strips: []table.Strip{{Name: "s", Pixels: 12}},
		Loads:  []table.Load{{Name: "ring", Run: 100_000, Start: 300_000}},
		States: []table.State{
			{Name: "rest", HandOver: show.Crossfade, Fade: 400, Then: table.None, Budget: 400_000, Further: []int64{7}},
			{Name: "lift", Clip: 1, AtMost: 3000, Then: 0, Budget: 400_000, Further: []int64{7}}},
		Levels: []table.Level{{}},
	}
}

// Every number that the player reads is compared; names and clips are not.
func TestDiffers(t *testing.T) {
	require.Empty(t, differs(panelShow(), panelShow()))
	free := map[string]bool{"Name": true, "Title": true, "Clip": true}
	var walk func(path string, at func(*table.Show) reflect.Value)
	walk = func(path string, at func(*table.Show) reflect.Value) {
		v := at(panelShow())
		if !v.CanSet() {
			return
		}
		switch v.Kind() {
		case reflect.Struct:
			for i := range v.NumField() {
				name := v.Type().Field(i).Name
				if !free[name] {
					walk(path+"."+name, func(s *table.Show) reflect.Value { return at(s).Field(i) })
				}
			}
		case reflect.Slice, reflect.Array:
			for i := range v.Len() {
				walk(path, func(s *table.Show) reflect.Value { return at(s).Index(i) })
			}
			if v.Kind() == reflect.Slice && path != ".Lines" && path != ".Parts" && path != ".Strips.Missing" { // the wiring's own sum
				other := panelShow()
				s := at(other)
				if s.Len() > 0 && path != ".States.Further" {
					s.Set(reflect.AppendSlice(s, s))
					require.NotEmpty(t, differs(panelShow(), other), "more of %s", path)
				}
			}
		default:
			other := panelShow()
			x := at(other)
			switch {
			case x.CanInt():
				x.SetInt(x.Int() ^ 1)
			case x.CanUint():
				x.SetUint(x.Uint() ^ 1)
			case x.Kind() == reflect.Bool:
				x.SetBool(!x.Bool())
			default:
				return // words
			}
			require.NotEmpty(t, differs(panelShow(), other), path)
			require.NotEmpty(t, differs(other, panelShow()), path)
		}
	}
	walk("", func(s *table.Show) reflect.Value { return reflect.ValueOf(s).Elem() })
	other := panelShow()
	other.States[1].Budget--
	require.Equal(t, `of state "lift" the budget, in uA, is 400000 here, 399999 there`, differs(panelShow(), other))
}
