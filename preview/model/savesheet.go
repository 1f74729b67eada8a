package model

import "fmt"

// drawSaver draws the sheet that offers pictures, and the progress of one.
func (m *Model) drawSaver(w, h float64) {
	if m.saver.job != nil {
		m.drawSaving(w, h)
		return
	}
	if !m.saver.open {
		return
	}
	u := &m.ui
	const wide, tall = 460.0, 232.0
	b := Rect{w/2 - wide/2, h/2 - tall/2, wide, tall}
	u.fill(Rect{0, 0, w, h}, withAlpha(u.theme.Ground, 190), 0)
	u.fill(b, u.theme.Sheet, 8)
	u.frame(b, u.theme.Rule, 1)
	u.bold("save a picture of the panel", b.X+20, b.Y+34, large, b.W-40, u.theme.Ink)
	words := fmt.Sprintf("The view %q of state %s, as it is seen now. It goes into the folder %s beside the show; nothing is overwritten.", viewNames[m.view], m.State(), picturesIn)
	y := b.Y + 60
	for _, line := range wrapped(words, b.W-40, small) {
		u.text(line, b.X+20, y, small, u.theme.Pale, Left)
		y += 18
	}
	y = b.Y + 104
	if u.button("picture.still", "this moment, PNG   (i)", Rect{b.X + 20, y, b.W - 40, 34}, false) {
		m.savePicture()
	}
	y += 42
	if u.button("picture.film", "the whole clip, "+filmNames[m.saver.film]+"   (shift i)", Rect{b.X + 20, y, b.W - 144, 34}, false) {
		m.saveClip()
	}
	other := 1 - m.saver.film
	if u.button("picture.kind", "as "+filmNames[other], Rect{b.X + b.W - 114, y, 94, 34}, false) {
		m.saver.film = other
	}
	y += 44
	if u.button("picture.close", "close", Rect{b.X + b.W - 114, y, 94, 30}, false) {
		m.saver.open = false
	}
}

// drawSaving draws a picture's progress over the foot of the window.
func (m *Model) drawSaving(w, h float64) {
	u, job := &m.ui, m.saver.job
	b := savingBox(w, h)
	u.fill(b, u.theme.Sheet, 8)
	u.frame(b, u.theme.Rule, 1)
	done := min(int(job.drawn.Load()), job.of)
	u.text("saving "+job.what, b.X+16, b.Y+28, normal, u.theme.Ink, Left)
	u.text(fmt.Sprintf("%d of %d", done, job.of), b.X+b.W-120, b.Y+28, normal, u.theme.Ink, Right)
	bar := Rect{b.X + 16, b.Y + 44, b.W - 136, 12}
	u.fill(bar, u.theme.Raised, 4)
	if done > 0 {
		u.fill(Rect{bar.X, bar.Y, bar.W * float64(done) / float64(job.of), bar.H}, u.theme.Accent, 4)
	}
	if u.button("picture.stop", "stop", Rect{b.X + b.W - 104, b.Y + 20, 88, 34}, false) {
		m.stopPicture()
	}
}

// covered tells that the pointer is over something that lies on the window: what is
// under that must not be pressed through it. What is being dragged stays held.
func (m *Model) covered(w, h float64) bool {
	if m.ui.active != "" && !m.ui.in.Pressed {
		return false
	}
	if m.outer || m.help || m.saver.open && m.saver.job == nil {
		return true
	}
	return m.saver.job != nil && savingBox(w, h).Has(m.ui.in.X, m.ui.in.Y)
}

// point takes the pointer of another input, and leaves the keys as they are.
func (in *Input) point(from Input) {
	in.X, in.Y, in.Pressed, in.Down, in.Wheel = from.X, from.Y, from.Pressed, from.Down, from.Wheel
}

func savingBox(w, h float64) Rect {
	const wide, tall = 420.0, 74.0
	return Rect{w/2 - wide/2, h - 30 - tall - 12, wide, tall}
}
