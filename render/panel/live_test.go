package panel

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/anim/layout"
	"paneglow/anim/show"
)

// strips is n rows of 12 LEDs behind a pane of 300 x 220 mm.
func strips(n int) (*show.Machine, *layout.Layout) {
	m, l := machine(0, 10, 30, scatterOf(20), 0)
	m.Parts[0].Emitter = unitMM(5)
	l.Width, l.Height, l.Strips = 300, 220, nil
	for r := range n {
		name := fmt.Sprintf("row%d", r)
		m.Strips = append(m.Strips, show.Strip{Name: name})
		l.Strips = append(l.Strips, layout.Strip{Name: name, First: 12 * r, Count: 12, Dies: 3, LEDPitch: 20, PixelPitch: 20})
		for c := range 12 {
			i := 12*r + c
			l.Pixels = append(l.Pixels, layout.Pixel{Strip: r, Index: c, Offset: 3 * i})
			l.LEDs = append(l.LEDs, layout.LED{X: 40 + 20*float64(c), Y: 30 + 60*float64(r), Pixel: int32(i)})
		}
	}
	return m, l
}

func full(l *layout.Layout) []uint8 {
	codes := make([]uint8, l.Channels())
	for i := range codes {
		codes[i] = 255
	}
	return codes
}

// A change is answered at once within the coarse error, and in the end within
// the fine one; strips that did not change are taken over.
func TestLive(t *testing.T) {
	m, l := strips(3)
	v, err := NewLive(m, l)
	require.NoError(t, err)
	codes := full(l)
	check := func(limit float64) float64 {
		f, twin := NewField(41, 31, 7.3), NewField(41, 31, 7.3)
		g, err := New(m, l)
		require.NoError(t, err)
		v.Glass().Shine(f, codes)
		g.Direct(twin, codes)
		e := worst(f, twin)
		require.LessOrEqual(t, e, limit)
		return e
	}
	check(fieldError)
	coarse := 0.0
	for _, change := range []func(){
		func() { m.Panel.Depth = unitMM(33) },
		func() { m.Panel.Glass.Scatter = unitDeg(60) },
		func() { m.Strips[1].Depth = unitMM(34) },
		func() { m.Strips[1].Depth = unitMM(36) },
		func() {
			moved := *l
			moved.LEDs = append([]layout.LED(nil), l.LEDs...)
			for i := 24; i < 36; i++ {
				moved.LEDs[i].Y += 9
			}
			l = &moved
		},
	} {
		change()
		require.NoError(t, v.Change(m, l))
		coarse = math.Max(coarse, check(dragError))
		select {
		case <-v.Fine():
		case <-time.After(20 * time.Second):
			t.Fatal("the fine grids never came")
		}
		check(fieldError)
	}
	t.Logf("coarse answers are within %.2f %%", 100*coarse)
	require.Equal(t, 2, v.Glass().grids.reused, "two strips of three did not move")
	require.Equal(t, fieldPlan, v.Glass().plan)

	// What cannot be shows what was before.
	before := v.Glass()
	m.Panel.Depth = 0
	require.ErrorContains(t, v.Change(m, l), "depth")
	require.Same(t, before, v.Glass())
}

// Changes faster than the fine grids are built: the last one counts.
func TestLiveHurried(t *testing.T) {
	m, l := strips(2)
	v, err := NewLive(m, l)
	require.NoError(t, err)
	for i := range 20 {
		m.Panel.Depth = unitMM(30 + float64(i))
		require.NoError(t, v.Change(m, l))
	}
	<-v.Fine()
	require.InDelta(t, 49, v.Glass().strips[0].depth, 1e-9)
	require.Equal(t, fieldPlan, v.Glass().plan)
}

// The first answer to a drag of the demo's depth, and the fine one.
func BenchmarkDrag(b *testing.B) {
	m, l := demoMachine(b)
	v, err := NewLive(m, l)
	require.NoError(b, err)
	depth := 40.0
	change := func() {
		depth += 0.1
		m.Panel.Depth = unitMM(depth)
		_ = v.Change(m, l)
	}
	for b.Loop() {
		change()
		<-v.Fine()
	}
	b.ReportMetric(ms(lap(20, change)), "glass_drag_ms")
	<-v.Fine()
	b.ReportMetric(ms(lap(10, func() { change(); <-v.Fine() })), "glass_drag_fine_ms")
}
