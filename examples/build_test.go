package examples

import (
	"io/fs"
	"slices"
	"testing"

	"paneglow/anim"
	"paneglow/anim/blend"
	"paneglow/anim/easing"
	"paneglow/anim/finding"
	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/anim/unit"
	"paneglow/patterns"
	"paneglow/render"
	"paneglow/render/drive"
	"paneglow/render/power"
	"paneglow/render/safety"

	"github.com/stretchr/testify/require"
)

// load reads both files and wants nothing told but notes.
func load(t *testing.T, from fs.FS) (*show.Show, *show.Machine, *layout.Layout) {
	t.Helper()
	src, err := fs.ReadFile(from, "machine.toml")
	require.NoError(t, err)
	m, list := show.ParseMachine("machine.toml", src)
	require.Empty(t, list)
	src, err = fs.ReadFile(from, "show.toml")
	require.NoError(t, err)
	s, list := show.ParseShow("show.toml", src)
	require.Empty(t, list)
	list = show.CheckShow(s, m, show.Names{
		Easing: func(text string) error { _, err := easing.Parse(text); return err },
		Blend:  func(text string) error { _, err := blend.Parse(text); return err },
	})
	requireNotes(t, list)
	l, err := layout.New(m)
	require.NoError(t, err)
	return s, m, l
}

func requireNotes(t *testing.T, list finding.List) {
	t.Helper()
	for _, f := range list {
		require.Equal(t, finding.Note, f.Severity, f.Error())
	}
}

// build makes the codes of every clip, as an export does.
func build(t *testing.T, from fs.FS, s *show.Show, m *show.Machine, l *layout.Layout) map[string]*render.Codes {
	t.Helper()
	clips, list := anim.Build(s, l, anim.Options{Pattern: patterns.Source, Patterns: patterns.Names(), ReadFile: func(p string) ([]byte, error) { return fs.ReadFile(from, p) }})
	require.Empty(t, list, "no turn is snapped, no loop jumps")
	hw, err := render.NewHardware(m)
	require.NoError(t, err)
	codes, err := render.FinishShow(clips, hw, power.ClipBudgets(s, m), s.Cap, 2, nil)
	require.NoError(t, err)
	out := map[string]*render.Codes{}
	for i, c := range clips {
		out[c.Name] = codes[i]
	}
	return out
}

func TestUmbrella(t *testing.T) {
	s, m, l := load(t, Umbrella())
	require.Len(t, l.Pixels, 180)
	require.Len(t, l.LEDs, 180)
	var states []string
	for _, x := range s.States {
		states = append(states, x.Name)
	}
	require.Equal(t, []string{"rest", "wake", "waiting", "turning", "take", "thanks", "empty", "fault", "service"}, states)
	frames := 0
	for i := range s.Clips {
		frames += s.Clips[i].Frames(s.FPS)
	}
	total := unit.Time(frames) * 1e9 / unit.Time(s.FPS)
	require.True(t, total > 60e9 && total < 80e9, total)

	// The carousel pushes the light down; nothing else does.
	for name, c := range build(t, Umbrella(), s, m, l) {
		_, wanted := c.WantedPeak()
		if name == "turning" {
			require.Less(t, c.Gain, uint32(drive.FullGain))
			require.Greater(t, wanted, c.Budget.Limit)
		} else {
			require.Equal(t, uint32(drive.FullGain), c.Gain, name)
		}
		require.LessOrEqual(t, slices.Max(c.Current), c.Budget.Limit, name)
		require.Positive(t, slices.Max(c.Bytes), name)
		t.Logf("%-8s %4d frames, wants %s of %s", name, c.Frames, power.Amps(wanted), power.Amps(c.Budget.Limit))
		for f := range c.Frames {
			if name == "turning" {
				require.Equal(t, c.Frame(0), c.Frame(f), "a still clip has one picture")
			}
		}
	}
	// A state entered by a fade would lend its budget to every clip it may fade
	// from, so those with a load of their own are entered by a cut.
	for _, x := range s.States {
		if slices.Contains(x.Loads, "carousel") || slices.Contains(x.Loads, "lock") {
			require.Equal(t, show.Cut, x.HandOver, x.Name)
		}
	}
}

// No state flashes more than three times in a second (the limit of WCAG 2.2,
// success criterion 2.3.1), neither over its loop's seam nor on the way from
// any other state.
func TestUmbrellaFlashes(t *testing.T) {
	s, m, l := load(t, Umbrella())
	eye, err := safety.NewEye(m, l)
	require.NoError(t, err)
	tracks := map[string]*safety.Track{}
	for name, c := range build(t, Umbrella(), s, m, l) {
		if s.Clip(name).Follow != "" {
			continue // its frames are values, not moments
		}
		tracks[name] = eye.Track(c.Frames, c.Frame)
		for _, r := range tracks[name].Loop(s.FPS) {
			n, at, kind := r.Worst()
			require.LessOrEqual(t, n, 3, "clip %s, %s, frame %d, %s", name, r.Region, at, kind)
		}
	}
	most := 0
	for _, to := range s.States {
		for from := range tracks {
			if from == to.Clip || tracks[to.Clip] == nil {
				continue
			}
			fade := int(int64(to.Fade) * int64(s.FPS) / 1e9)
			for _, r := range safety.Joint(tracks[from], tracks[to.Clip], s.FPS, fade) {
				n, at, kind := r.Worst()
				most = max(most, n)
				require.LessOrEqual(t, n, 3, "from clip %s to state %s, %s, frame %d, %s", from, to.Name, r.Region, at, kind)
			}
		}
	}
	t.Logf("at most %d flashes in a second on the way between states", most)
}

func TestStarter(t *testing.T) {
	s, m, l := load(t, Starter())
	require.Len(t, l.Pixels, 28)
	for name, c := range build(t, Starter(), s, m, l) {
		require.Positive(t, slices.Max(c.Bytes), name)
	}
}

// A starter is not welcome if a loader from disk refuses what the embedded one
// accepts.
func TestFromDisk(t *testing.T) {
	for _, dir := range []string{"umbrella", "starter"} {
		s, list := show.LoadShow(dir + "/show.toml")
		require.NoError(t, list.Err())
		require.Equal(t, dir, s.Dir)
		_, list = show.LoadMachine(dir + "/" + s.MachineFile)
		require.NoError(t, list.Err())
	}
}
