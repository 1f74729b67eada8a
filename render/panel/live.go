package panel

import (
	"sync"

	"paneglow/anim/layout"
	"paneglow/anim/show"
)

// dragPlan is a coarse answer while a setting is being dragged: half the points
// of the fine one, within dragError (TestLive).
var dragPlan = plan{near: 0.95, split: 4.5, grow: 3, cells: 1.9, faint: 0.02, last: 700, least: 3e-3}

// dragError is the greatest error of the coarse answer, as a share of the
// field's maximum.
const dragError = 0.03

// Live is a panel whose settings change under one's hands: depth, scatter,
// strips. Each change is answered at once with coarse grids; the fine ones are
// built in the background, and only the strips that changed are built anew. Its
// methods may be called from several goroutines.
type Live struct {
	mu     sync.Mutex
	glass  *Glass
	coarse *grids // newest, to take unchanged strips from
	fine   *grids
	change int // counts changes
	done   chan struct{}
	build  sync.Mutex // one background build at a time
}

// NewLive prepares a panel; its grids are fine from the start.
func NewLive(m *show.Machine, l *layout.Layout) (*Live, error) {
	g, err := New(m, l)
	if err != nil {
		return nil, err
	}
	g.Build()
	v := &Live{glass: g, fine: g.grids, done: make(chan struct{})}
	close(v.done)
	return v, nil
}

// Glass is the newest panel: coarse right after a change, fine once it is built.
// A Glass never changes; ask again for every frame.
func (v *Live) Glass() *Glass {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.glass
}

// Fine is closed when the fine grids of the newest change stand.
func (v *Live) Fine() <-chan struct{} {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.done
}

// Change takes new settings. When it returns, Glass answers by them; the error
// is New's, and then the panel stays as it was.
func (v *Live) Change(m *show.Machine, l *layout.Layout) error {
	g, err := New(m, l)
	if err != nil {
		return err
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	g.plan, g.like = dragPlan, v.coarse
	g.Build()
	v.coarse, v.glass = g.grids, g
	v.change++
	change, done := v.change, make(chan struct{})
	select {
	case <-v.done:
	default:
		close(v.done) // who waited for the last change now waits no longer
	}
	v.done = done
	go func() {
		v.build.Lock()
		defer v.build.Unlock()
		v.mu.Lock()
		stale, like := v.change != change, v.fine
		v.mu.Unlock()
		if stale {
			return
		}
		fine := g.as(fieldPlan, like)
		fine.Build()
		v.mu.Lock()
		defer v.mu.Unlock()
		if v.change != change {
			v.keep(fine.grids)
			return
		}
		v.glass = fine
		v.keep(fine.grids)
		close(done)
	}()
	return nil
}

func (v *Live) keep(g *grids) {
	if g != nil {
		v.fine = g
	}
}

// as is the same panel on other grids, not built yet.
func (g *Glass) as(p plan, like *grids) *Glass {
	return &Glass{
		layout: g.layout, strips: g.strips, leds: g.leds, dies: g.dies, scatter: g.scatter, q: g.q, eye: g.eye,
		spot: g.spot, core: g.core, room: g.room, plan: p, like: like,
	}
}
