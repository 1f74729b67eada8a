package show

import (
	"fmt"
	"strings"
	"testing"

	"paneglow/anim/finding"

	"github.com/stretchr/testify/require"
)

// Two small files that are right; the tests put one thing wrong at a time.
// All values are invented.
const goodMachine = `[panel]
size = ["200 mm", "300 mm"]
depth = "40 mm"
glass = { scatter = "20 deg", lambertian = 0.15, transmittance = [0.84, 0.83, 0.82] }
room = { day = "8000 lx", night = "20 lx", viewer = "1.5 m" }

[[part]]
name = "p"
order = "GRB"
pitch = "50 /m"
leds_per_pixel = 1
law = "sum"
current = { idle = "1 mA", red = "12 mA", green = "12 mA", blue = "12 mA", spread = "8 %" }
volts = { nominal = "12 V", least = "10.5 V" }
light = { red = ["622 nm", "400 mcd"], green = ["523 nm", "690 mcd"], blue = ["466 nm", "190 mcd"] }
rails = "0.16 ohm/m"
data = { bit = "1.25 us", latch = "280 us", gap = "5 us", pwm = "2 kHz" }

[[line]]
name = "a"
driver = "5 V"
strips = ["left", "top"]

[[strip]]
name = "left"
part = "p"
path = [["20 mm", "20 mm"], ["20 mm", "200 mm"]]
pixels = 10

[[strip]]
name = "top"
part = "p"
path = [["40 mm", "220 mm"], ["120 mm", "220 mm"]]
pixels = 5

[supply]
volts = "12 V"
amps = "8.3 A"

[[feed]]
at = ["left", 0]
wire = "0.75 mm2"
length = "900 mm"
fuse = "4 A"

[[load]]
name = "carousel"
amps = "2.4 A"
start = "4.8 A"

[[sensor]]
name = "slot"
pulse = "3 ms"

[controller]
clock = "16 MHz"
flash = "248 KiB"
ram = "8 KiB"
machine_flash = "64 KiB"
machine_ram = "1500 B"
machine_share = "40 %"
baud = 500000
`

const goodShow = `title = "T"
machine = "machine.toml"
fps = 40

[host]
silence = "5 s"
then = "rest"

[[clip]]
name = "rest"
length = "12 s"
[[clip.layer]]
pattern = "eaves"
with = { tint = "white", every = "6 s", count = 3, soft = true }

[[clip]]
name = "turning"
length = "2 s"
[[clip.layer]]
pattern = "eaves"
[[clip.layer]]
picture = "rows.png"
strips = ["top"]

[[state]]
name = "rest"
clip = "rest"
hand_over = "crossfade 0.4 s"

[[state]]
name = "turning"
clip = "turning"
loads = ["carousel"]
listens = ["slot"]
still = true
at_most = "12 s"
then = "rest"
`

// wrong is one fault. The place of its finding is marked in the new text by
// « and ».
type wrong struct {
	old, new           string
	code, message, fix string
}

// plant puts a fault into a file and returns it with the place expected.
func plant(t *testing.T, good string, w wrong) (string, string) {
	t.Helper()
	require.Equal(t, 1, strings.Count(good, w.old), "%q must stand once in the file", w.old)
	text := strings.Replace(good, w.old, w.new, 1)
	before, rest, ok := strings.Cut(text, "«")
	require.True(t, ok, w.new)
	marked, after, ok := strings.Cut(rest, "»")
	require.True(t, ok, w.new)
	line := strings.Count(before, "\n") + 1
	col := len(before) - strings.LastIndex(before, "\n")
	return before + marked + after, fmt.Sprintf("f.toml:%d:%d", line, col)
}

func errorsOf(l finding.List) finding.List {
	var out finding.List
	for _, f := range l {
		if f.Severity == finding.Error {
			out = append(out, f)
		}
	}
	return out
}

func requireFault(t *testing.T, list finding.List, where string, w wrong) {
	t.Helper()
	list = errorsOf(list)
	require.Len(t, list, 1, "%v", list)
	got := list[0]
	require.Equal(t, [4]string{where, w.code, w.message, w.fix}, [4]string{got.Where, got.Code, got.Message, got.Fix})
}
