package render_test

import (
	"errors"
	"fmt"
	"image"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/anim"
	"paneglow/anim/color"
	"paneglow/anim/show"
	"paneglow/anim/unit"
	"paneglow/render"
	"paneglow/render/drive"
	"paneglow/render/power"
)

// frames is a source of given light.
type frames [][]color.Light

func (f frames) Frames() int        { return len(f) }
func (f frames) Start() anim.Cursor { return &cursor{f: f} }

type cursor struct {
	f    frames
	next int
}

func (c *cursor) Seek(n int) error { c.next = n; return nil }
func (c *cursor) Next(dst []color.Light) error {
	copy(dst, c.f[c.next])
	c.next = (c.next + 1) % len(c.f)
	return nil
}

// hardware is a strip of n pixels of one part. Full white at the show's white
// is not all dies at full: see render/drive.
func hardware(tb require.TestingT, n int, law show.Law, order string) *render.Hardware {
	p := show.Part{Name: "p", Order: order, Pitch: 60, LEDsPerPixel: 1, Law: law, Idle: 1000, Spread: 80_000, Ceiling: 20_000,
		Channel: [4]unit.Current{12_000, 13_000, 14_000, 18_000}}
	p.Light = [4]show.Die{{Wavelength: 622, Intensity: 400}, {Wavelength: 523, Intensity: 690}, {Wavelength: 466, Intensity: 190}, {Temperature: 6500, Intensity: 900}}
	m := &show.Machine{File: "machine.toml", Parts: []show.Part{p},
		Lines:  []show.Line{{Name: "a", Strips: []string{"s"}}},
		Strips: []show.Strip{{Name: "s", Part: "p", Pixels: n, Path: [][2]unit.Length{{10, 10}, {unit.Length(10 + 1000.0/60*float64(n-1)), 10}}}},
		Supply: show.Supply{Volts: 12_000_000, Amps: 3_000_000, Share: 800_000, Surge: 1_000_000}}
	m.Panel.Size = [2]unit.Length{unit.Length(40 + 1000.0/60*float64(n)), 20}
	m.Panel.Depth = 30
	hw, err := render.NewHardware(m)
	require.NoError(tb, err)
	return hw
}

// recount is the current of a frame by the definition, die by die, in
// microamperes times 255: nothing of package power.
func recount(law show.Law, dies int, codes []uint8) int64 {
	channel := [4]int64{12_000, 13_000, 14_000, 18_000}
	total, idle := int64(0), int64(0)
	for i := 0; i < len(codes); i += dies {
		idle += 1080 // 1 mA and its 8 %
		sum, most := int64(0), int64(0)
		for c := range dies {
			v := int64(codes[i+c]) * (channel[c]*108/100 + boolInt(channel[c]*108%100 > 0))
			sum, most = sum+v, max(most, v)
		}
		switch law {
		case show.Largest:
			total += most
		case show.Ceiling:
			total += min(sum, 255*21_600)
		default:
			total += sum
		}
	}
	return idle + (total+254)/255
}

func boolInt(b bool) int64 {
	if b {
		return 1
	}
	return 0
}

// Whatever the light, the law and the budget: no frame is over the budget by a
// count of its own, black stays black, an affordable clip is left alone, and a
// greater gain would break the budget. The shares of shows in which the cap
// bites, and in which idle alone breaks the budget, are asserted.
func TestFinishKeepsTheBudget(t *testing.T) {
	shows, bites, idles := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		law := show.Law(rapid.IntRange(0, 2).Draw(t, "law"))
		order := rapid.SampledFrom([]string{"GRB", "RGBW"}).Draw(t, "order")
		n := rapid.IntRange(1, 12).Draw(t, "pixels")
		hw := hardware(t, n, law, order)
		level := rapid.SampledFrom([]float32{0.05, 0.5, 1, 1, 3}).Draw(t, "level")
		src := make(frames, rapid.IntRange(1, 5).Draw(t, "frames"))
		for f := range src {
			src[f] = make([]color.Light, n)
			if rapid.IntRange(0, 5).Draw(t, "black") == 0 {
				continue
			}
			for i := range src[f] {
				for c := range src[f][i] {
					src[f][i][c] = rapid.Float32Range(-0.1, 1).Draw(t, "light") * level
				}
			}
		}
		loose, err := render.Finish(src, hw, power.Budget{Limit: 1 << 40})
		if err != nil {
			t.Fatal(err)
		}
		_, wants := loose.Peak()
		// In percent of what the light wants above idle; -1 is below idle.
		percent := rapid.SampledFrom([]int64{-1, 0, 5, 30, 50, 80, 99, 100, 120}).Draw(t, "percent")
		limit := hw.Meter.Idle() + (wants-hw.Meter.Idle())*percent/100
		if percent < 0 {
			limit = hw.Meter.Idle() - 1
		}
		b := power.Budget{Limit: limit, Why: "drawn"}
		shows++
		got, err := render.Finish(src, hw, b)
		var idle *render.IdleError
		if errors.As(err, &idle) {
			idles++
			if hw.Meter.Idle() <= limit {
				t.Fatalf("refused although a dark panel draws %d of %d", hw.Meter.Idle(), limit)
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		if got.Gain < drive.FullGain {
			bites++
		}
		tight := false
		for f := range src {
			draws := recount(law, len(order), got.Frame(f))
			if draws > limit || draws != got.Current[f] {
				t.Fatalf("frame %d draws %d of %d, recorded %d", f, draws, limit, got.Current[f])
			}
			dark := true
			for _, l := range src[f] {
				dark = dark && l == color.Light{}
			}
			for _, c := range got.Frame(f) {
				if dark && c != 0 {
					t.Fatalf("frame %d is black and lights code %d", f, c)
				}
			}
			if got.Gain < drive.FullGain {
				tight = tight || over(hw, src[f], law, len(order), got.Gain+1, limit)
			}
		}
		if got.Gain < drive.FullGain && !tight {
			t.Fatalf("gain %d is not the greatest", got.Gain)
		}
		if got.Bites() == 0 && got.Gain != drive.FullGain {
			t.Fatalf("an affordable clip got gain %d", got.Gain)
		}
	})
	require.GreaterOrEqual(t, float64(bites)/float64(shows), 0.30, "the cap must bite in enough shows: %d of %d", bites, shows)
	require.GreaterOrEqual(t, float64(idles)/float64(shows), 0.05, "idle must break the budget in some shows: %d of %d", idles, shows)
}

func over(hw *render.Hardware, light []color.Light, law show.Law, dies int, gain uint32, limit int64) bool {
	d := make([]float32, hw.Drive.Channels())
	hw.Drive.Apply(d, light)
	codes := make([]uint8, len(d))
	drive.Round(codes, d, gain)
	return recount(law, dies, codes) > limit
}

// A worked example through the whole door: 150 pixels of 18 mA a channel at full duty want
// 8.10 A, a budget of 3 A leaves 37.0 %. The dies are all driven fully by an
// exact picture, since the show's white does not need them all.
func TestGroupsAtFullWhite(t *testing.T) {
	hw := hardware(t, 150, show.Sum, "RGB")
	m := *hw.Machine
	m.Parts = []show.Part{m.Parts[0]}
	m.Parts[0].Idle, m.Parts[0].Spread = 0, 0
	m.Parts[0].Channel = [4]unit.Current{18_000, 18_000, 18_000}
	hw, err := render.NewHardware(&m)
	require.NoError(t, err)
	full := make([]uint8, 450)
	for i := range full {
		full[i] = 255
	}
	require.Equal(t, int64(8_100_000), hw.Meter.Current(full))
	ones := make([]float32, 450)
	for i := range ones {
		ones[i] = 1
	}
	scratch := make([]uint8, 450)
	gain, ok := hw.Meter.Gain(ones, 3_000_000, scratch, drive.FullGain)
	require.True(t, ok)
	require.Equal(t, uint8(94), scratch[0], "37.0 % of 255, rounded down by the budget")
	require.InDelta(t, 0.370, float64(gain)/drive.FullGain, 0.003)
}

func TestExact(t *testing.T) {
	hw := hardware(t, 4, show.Sum, "GRB")
	img := image.NewNRGBA(image.Rect(0, 0, 4, 2))
	for i := range img.Pix {
		img.Pix[i] = uint8(i)
	}
	c, err := render.Exact(img, hw, power.Budget{Limit: 1_000_000})
	require.NoError(t, err)
	require.Equal(t, []uint8{0, 1, 2, 4, 5, 6, 8, 9, 10, 12, 13, 14}, c.Frame(0), "codes are taken as they are")
	require.Equal(t, uint32(drive.FullGain), c.Gain)
	var over *render.OverError
	_, err = render.Exact(img, hw, power.Budget{Limit: c.Current[1] - 1})
	require.ErrorAs(t, err, &over)
	require.Equal(t, 1, over.Frame)
	_, err = render.Exact(image.NewNRGBA(image.Rect(0, 0, 5, 1)), hw, power.Budget{Limit: 1_000_000})
	require.ErrorContains(t, err, "4 pixels")
	_, err = render.Exact(img, hardware(t, 4, show.Sum, "RGBW"), power.Budget{Limit: 1_000_000})
	require.ErrorContains(t, err, "4 dies")
}

// A clip too long to keep its duties is rendered twice; the codes must be
// those of the same frames in short clips under the same gain.
func TestLongClipsEqualShortOnes(t *testing.T) {
	hw := hardware(t, 100, show.Sum, "GRB")
	long := make(frames, 24_000) // 28.8 MB of duties
	for f := range long {
		row := make([]color.Light, 1)
		row[0] = color.Light{float32(f%7) / 7, float32(f%11) / 11, float32(f%13) / 13}
		long[f] = append(row, make([]color.Light, 99)...)
		long[f][50] = color.Light{1, 1, 1}
	}
	b := power.Budget{Limit: hw.Meter.Idle() + 25_000}
	whole, err := render.Finish(long, hw, b)
	require.NoError(t, err)
	require.Less(t, whole.Gain, uint32(drive.FullGain))
	part, err := render.Finish(long[:1100], hw, b)
	require.NoError(t, err)
	require.Equal(t, part.Gain, whole.Gain, "the light repeats every 1001 frames")
	require.Equal(t, part.Bytes, whole.Bytes[:len(part.Bytes)])
}

// One source's error stops the clip and names the frame.
func TestSourceErrors(t *testing.T) {
	hw := hardware(t, 2, show.Sum, "GRB")
	_, err := render.Finish(broken{}, hw, power.Budget{Limit: 1_000_000})
	require.ErrorContains(t, err, "frame 0: no light today")
}

type broken struct{}

func (broken) Frames() int                  { return 1 }
func (broken) Start() anim.Cursor           { return broken{} }
func (broken) Seek(int) error               { return nil }
func (broken) Next(dst []color.Light) error { return fmt.Errorf("no light today") }
