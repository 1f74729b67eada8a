package show

import (
	"fmt"
	"slices"

	"paneglow/anim/finding"
)

// SetFeed moves a feed, counted from 0 in file order, to another pixel.
func SetFeed(file string, src []byte, feed int, to Place) ([]byte, error) {
	m, list := ParseMachine(file, src)
	if feed < 0 || feed >= len(m.Feeds) {
		return nil, unreadable(list, fmt.Errorf("there is no feed %d", feed+1))
	}
	return setPlace(src, m.Feeds[feed].Keys, m.Feeds[feed].Pos, "at", Place{m.Feeds[feed].Strip, m.Feeds[feed].Pixel}, to)
}

// SetJoint moves the ends of a joint, counted from 0 in file order.
func SetJoint(file string, src []byte, joint int, from, to Place) ([]byte, error) {
	m, list := ParseMachine(file, src)
	if joint < 0 || joint >= len(m.Joints) {
		return nil, unreadable(list, fmt.Errorf("there is no joint %d", joint+1))
	}
	j := &m.Joints[joint]
	out, err := setPlace(src, j.Keys, j.Pos, "to", j.To, to)
	if err != nil {
		return nil, err
	}
	m, _ = ParseMachine(file, out)
	j = &m.Joints[joint]
	return setPlace(out, j.Keys, j.Pos, "from", j.From, from)
}

// AddFeed writes one more feed, with the wire, length and fuse of the feed like,
// counted from 0, below the last one.
func AddFeed(file string, src []byte, like int, at Place) ([]byte, error) {
	m, list := ParseMachine(file, src)
	if like < 0 || like >= len(m.Feeds) {
		return nil, unreadable(list, finding.At(Pos{File: file}, finding.Error, "show.missing_key", "there is no feed whose wire, length and fuse a new one could have", "write the first [[feed]] by hand"))
	}
	f := &m.Feeds[like]
	block := fmt.Sprintf("[[feed]]\nat = [%s, %d]\n", Quote(at.Strip), at.Pixel)
	for _, key := range []string{"wire", "length", "fuse", "contact", "connector"} {
		if p, ok := f.Keys[key]; ok {
			block += key + " = " + string(src[p.Start:p.End]) + "\n"
		}
	}
	last := &m.Feeds[len(m.Feeds)-1]
	out, err := addBlock(src, lastOf(src, last.Pos, last.Keys), last.Pos, block)
	if err != nil {
		return nil, err
	}
	after, _ := ParseMachine(file, out)
	if len(after.Feeds) != len(m.Feeds)+1 {
		return nil, odd(last.Pos)
	}
	after.Feeds = after.Feeds[:len(m.Feeds)]
	if !sameMachine(m, after) {
		return nil, odd(last.Pos)
	}
	return out, nil
}

// RemoveFeed takes a feed, counted from 0, out of the file.
func RemoveFeed(file string, src []byte, feed int) ([]byte, error) {
	m, list := ParseMachine(file, src)
	if feed < 0 || feed >= len(m.Feeds) {
		return nil, unreadable(list, fmt.Errorf("there is no feed %d", feed+1))
	}
	at := m.Feeds[feed].Pos
	if len(m.Feeds) == 1 {
		return nil, finding.At(at, finding.Error, "show.missing_key", "the machine would have no feed", "solder the new one first")
	}
	out := cutBlock(src, at, m.Feeds[feed].Keys)
	m.Feeds = slices.Delete(m.Feeds, feed, feed+1)
	after, _ := ParseMachine(file, out)
	if !sameMachine(m, after) {
		return nil, odd(at)
	}
	return out, nil
}
