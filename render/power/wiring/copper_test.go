package wiring

import (
	"encoding/csv"
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/unit"
)

// read gives the numbers of a table in testdata/copper; an empty field is 0.
func read(t *testing.T, name string) [][]float64 {
	t.Helper()
	f, err := os.Open("../../../testdata/copper/" + name)
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	var out [][]float64
	for _, row := range rows[1:] {
		var v []float64
		for _, field := range row {
			x := 0.0
			if field != "" {
				x, err = strconv.ParseFloat(field, 64)
				require.NoError(t, err)
			}
			v = append(v, x)
		}
		out = append(out, v)
	}
	return out
}

func TestWarmth(t *testing.T) {
	for _, row := range read(t, "temperature.csv") {
		require.InDelta(t, row[1], Warmth(unit.Celsius(row[0])), 5e-6, row[0])
	}
}

// The National Electrical Code prints three digits.
func TestGaugesAgainstNEC(t *testing.T) {
	for _, row := range read(t, "nec_table8.csv") {
		got := Ohms(unit.Wire{Gauge: int(row[0]), AWG: true}, 1e6, 75)
		require.InEpsilon(t, row[1], got, 0.005, "AWG %g", row[0])
	}
}

// Diameters and sections that follow from the definition of ASTM B258: AWG 36 is
// 0.127 mm (0.005 inch) and AWG 0000 (-3) is 11.684 mm (0.46 inch), 92 times as
// much; AWG 18 as worked out by hand.
func TestGauges(t *testing.T) {
	require.InDelta(t, 0.127, Gauge(36), 1e-12)
	require.InDelta(t, 11.684, Gauge(-3), 1e-9)
	require.InDelta(t, 1.0237, Gauge(18), 5e-5)
	require.InDelta(t, 0.8230, Section(unit.Wire{Gauge: 18, AWG: true}), 5e-5)
	// 2 m of a pair of AWG 18.
	require.InDelta(t, 0.084, 2*Ohms(unit.Wire{Gauge: 18, AWG: true}, 2000, 20), 0.0005)
	require.InDelta(t, 20.948, 1000*PerMetre(unit.Wire{Gauge: 18, AWG: true}), 5e-4)
}

func TestSectionsAgainstIEC(t *testing.T) {
	listed := 0
	for _, row := range read(t, "iec60228.csv") {
		a := unit.Area(row[0])
		for i, w := range []unit.Wire{{Area: a, Class: 2}, {Area: a, Class: 5}, {Area: a, Class: 5, Tinned: true}} {
			require.InDelta(t, row[i+1], 1000*PerMetre(w), 1e-9, "%v", w)
			if row[i+1] > 0 {
				listed++
			}
		}
	}
	require.Equal(t, 21, listed)
}

// Every wire that can be written has a resistance: that of its copper at least, and
// not half as much again; thicker wire has less, and carries more.
func TestEveryWire(t *testing.T) {
	kinds := [][]unit.Wire{nil, nil, nil, nil}
	for _, a := range unit.WireAreas {
		for k, text := range []string{" class 2", "", " tinned"} {
			if w, err := unit.ParseWire(a.String() + text); err == nil {
				kinds[k] = append(kinds[k], w)
			}
		}
	}
	for n := unit.ThinnestGauge; n >= unit.ThickestGauge; n-- {
		kinds[3] = append(kinds[3], unit.Wire{Gauge: n, AWG: true})
	}
	for _, kind := range kinds {
		require.Greater(t, len(kind), 8)
		for i, w := range kind {
			bare := resistivity / Section(w)
			require.GreaterOrEqual(t, PerMetre(w), 0.99*bare, "%v", w) // class 1 and 2 allow a little less copper than the name
			require.Less(t, PerMetre(w), 1.35*bare, "%v", w)
			if i > 0 {
				require.Less(t, PerMetre(w), PerMetre(kind[i-1]))
				require.Greater(t, Carries(w), Carries(kind[i-1]))
			}
			next, ok := Next(w)
			for ok {
				require.Less(t, PerMetre(next), PerMetre(w))
				w = next
				next, ok = Next(w)
			}
		}
	}
	_, err := unit.ParseWire("0.25 mm2 tinned")
	require.Error(t, err)
}

// The tables of docs/wiring.md are those that are worked with.
func TestTablesOfThePage(t *testing.T) {
	page, err := os.ReadFile("../../../docs/wiring.md")
	require.NoError(t, err)
	rows := 0
	for line := range strings.SplitSeq(string(page), "\n") {
		cells := strings.Split(strings.Trim(line, "| "), " | ")
		w, err := unit.ParseWire(cells[0])
		if err != nil {
			continue
		}
		rows++
		takes := cells[len(cells)-1]
		if w.AWG {
			require.Equal(t, fmt.Sprintf("%.3f mm", Gauge(w.Gauge)), cells[1])
			require.Equal(t, fmt.Sprintf("%.3f mm2", Section(w)), cells[2])
			require.Equal(t, fmt.Sprintf("%.1f", 1000*PerMetre(w)), cells[3])
		} else {
			takes = cells[4]
			for i, kind := range []string{" class 2", "", " tinned"} {
				want := "-"
				if x, err := unit.ParseWire(cells[0] + kind); err == nil {
					want = fmt.Sprintf("%.4g", 1000*PerMetre(x))
				}
				require.Equal(t, want, cells[i+1], line)
			}
		}
		require.Equal(t, fmt.Sprintf("%.1f A", float64(Carries(w))/1e6), takes, line)
	}
	require.Equal(t, len(unit.WireAreas)+11, rows)
	var fuses []string
	for _, f := range Fuses {
		fuses = append(fuses, fmt.Sprintf("%g", f))
	}
	require.Contains(t, string(page), strings.Join(fuses, ", ")+" A")
}
