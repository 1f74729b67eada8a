package energy

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/render/play"
	"paneglow/render/power/wiring"
	"paneglow/render/table"
)

// machine is a strip of 300 pixels that idle at 2 mA, 5 m long, fed without loss but
// for a microohm. All values are invented.
const machine = `[panel]
size = ["6 m", "100 mm"]
depth = "48 mm"
glass = { scatter = "30 deg", lambertian = 0.1, transmittance = [0.9, 0.9, 0.9] }
room = { day = "500 lx", night = "20 lx", viewer = "1.5 m" }
[[part]]
name = "p"
order = "GRB"
pitch = "60 /m"
law = "sum"
current = { idle = "2 mA", red = "10 mA", green = "10 mA", blue = "10 mA", spread = "0 %" }
volts = { nominal = "12 V", least = "9 V" }
light = { red = ["622 nm", "400 mcd"], green = ["523 nm", "690 mcd"], blue = ["466 nm", "190 mcd"] }
rails = "0.0001 ohm/m"
data = { bit = "1.25 us", latch = "280 us", gap = "5 us", pwm = "2 kHz" }
[[line]]
name = "a"
driver = "5 V"
strips = ["row"]
[[strip]]
name = "row"
part = "p"
path = [["50 mm", "50 mm"], ["5033 mm", "50 mm"]]
pixels = 300
[supply]
volts = "12 V"
amps = "20 A"
[wiring]
temperature = "20 degC"
contact = "0 ohm"
[[feed]]
at = ["row", 150]
wire = "16 mm2"
length = "1 mm"
fuse = "10 A"
[controller]
clock = "16 MHz"
flash = "248 KiB"
ram = "8 KiB"
machine_flash = "64 KiB"
machine_ram = "1500 B"
machine_share = "40 %"
baud = 500000
`

func panel(t *testing.T) *wiring.Panel {
	m, found := show.ParseMachine("machine.toml", []byte(machine))
	require.NoError(t, found.Err())
	l, err := layout.New(m)
	require.NoError(t, err)
	p, err := wiring.NewPanel(m, l)
	require.NoError(t, err)
	return p
}

func lap(name string, frames ...[3]uint8) wiring.Lap {
	l := wiring.Lap{State: name}
	for _, c := range frames {
		f := make([]uint8, 900)
		for i := range f {
			f[i] = c[i%3]
		}
		l.Frames = append(l.Frames, f)
	}
	return l
}

// 300 dark pixels of 2 mA are 0.6 A, 7.2 W and 63 kWh a year: figures that people
// report of such a strip.
func TestDarkIsNotFree(t *testing.T) {
	r, err := Add(panel(t), []Use{{lap("dark", [3]uint8{}), 24}}, nil)
	require.NoError(t, err)
	require.InDelta(t, 7.2, r.Mean, 0.001)
	require.InDelta(t, 63, r.KWh(1), 0.2)
	require.InDelta(t, 63.12/0.85, r.KWh(0.85), 0.1)
	require.InDelta(t, 7.2/5, r.Strips[0], 0.001)
	require.Zero(t, r.Duty)
	require.Equal(t, []Level{{1000, 168}}, r.Levels)
}

// Two states by hand: 300 pixels of red at 255 draw 3.6 A with their idle, at 40 % of
// lightness (11.26 % of the light, codes rounded down) 0.6 + 3 * 28/255; 6 hours of
// it a day beside 18 dark ones, half the week at each level.
func TestStatesAndLevels(t *testing.T) {
	red := lap("red", [3]uint8{255, 0, 0}, [3]uint8{255, 0, 0})
	levels := []table.Level{{From: 0, Days: 0x7f, Lightness: 400}, {From: 12 * 3600, Days: 0x7f, Lightness: 1000}}
	r, err := Add(panel(t), []Use{{lap("dark", [3]uint8{}), 18}, {red, 6}}, levels)
	require.NoError(t, err)
	require.Equal(t, []Level{{1000, 84}, {400, 84}}, r.Levels)
	require.EqualValues(t, 28, 255*play.Linear(400)>>16)
	full, night := 12*3.6, 12*(0.6+3*28.0/255)
	require.InEpsilon(t, full, r.States[1].Full, 1e-4)
	require.InEpsilon(t, full, r.States[1].Peak, 1e-4)
	require.InEpsilon(t, (full+night)/2, r.States[1].Mean, 1e-4)
	require.InEpsilon(t, 0.75*7.2+0.25*(full+night)/2, r.Mean, 1e-4)
	require.Equal(t, 1, r.Worst)
	require.InEpsilon(t, full, r.WorstWatts, 1e-4)
	require.InEpsilon(t, full/5, r.Hottest[0], 1e-4)
	require.InEpsilon(t, 0.25*(1+28.0/255)/2, r.Duty, 1e-9)
	require.Equal(t, 0, r.At.Channel)
	_, err = Add(panel(t), []Use{{red, 23}}, nil)
	require.ErrorContains(t, err, "23 hours")
}

// Kelvins per watt and metre against the measurement they come from: 22 W/m at 20
// degC, 48.4 degC in an open channel, 59.6 degC in a covered one.
func TestRise(t *testing.T) {
	require.InDelta(t, 48.4, 20+22*RiseOpen, 0.5)
	require.InDelta(t, 59.6, 20+22*RiseCovered, 0.5)
}

// A working week by hand: 40 % from 22:00, 100 % from 5:30 on working days and from
// 8:00 on the others. Dark hours: 7 evenings of 2, 5 mornings of 5.5, 2 of 8.
func TestWeek(t *testing.T) {
	levels := []table.Level{
		{From: 22 * 3600, Days: 0x7f, Lightness: 400},
		{From: 19800, Days: 0x1f, Lightness: 1000},
		{From: 8 * 3600, Days: 0x60, Lightness: 1000},
	}
	dark := 7*2 + 5*5.5 + 2*8.0
	require.Equal(t, []Level{{1000, 168 - dark}, {400, dark}}, Week(levels))
	require.Equal(t, []Level{{1000, 168}}, Week(nil))
}

// The hours of any timetable add up to a week, and each level's are those of a walk
// through it by minutes.
func TestWeekByMinutes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var levels []table.Level
		for range rapid.IntRange(0, 5).Draw(t, "levels") {
			levels = append(levels, table.Level{
				From: 60 * int64(rapid.IntRange(0, 1439).Draw(t, "from")), Days: uint8(rapid.IntRange(1, 127).Draw(t, "days")),
				Lightness: uint16(rapid.SampledFrom([]int{0, 300, 600, 1000}).Draw(t, "lightness")),
			})
		}
		minutes := map[int]int{}
		for day := range 7 {
			for m := range 1440 {
				minutes[holds(levels, day, int64(60*m))]++
			}
		}
		sum := 0.0
		for _, l := range Week(levels) {
			require.InDelta(t, float64(minutes[l.Lightness])/60, l.Hours, 1e-9)
			sum += l.Hours
		}
		require.InDelta(t, 168, sum, 1e-9)
	})
}
