package upload

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"paneglow/controller/link"
	"paneglow/render/table"
)

// Errors of Upload; each says in its text what to do.
var (
	ErrNoSlots  = errors.New("this firmware takes no tables")
	ErrTooLarge = errors.New("the table is larger than a slot")
	ErrLayout   = errors.New("the table was made for other strips")
	ErrBusy     = errors.New("the machine is busy")
	ErrMemory   = errors.New("the controller's memory does not hold what was written")
	ErrFirmware = errors.New("the controller's firmware cannot play the table")
)

// Options of Upload. The zero value works.
type Options struct {
	// Progress is told how many bytes of the table stand in the slot, in order.
	Progress func(done, all int)
	// Whole sends everything, whatever the controller already holds.
	Whole bool
}

// Result says what an upload did.
type Result struct {
	Board     link.Identity // before it
	Same      bool          // the slot in force holds the table already; nothing was done
	Installed uint32        // how many tables have been switched to, this one included
	Sent      int           // bytes of the table that went over the line
	Copied    int           // that the controller copied from the table in force
	Found     int           // that the slot already held
}

// blockBytes is the most bytes of the table in a block message: of such frames
// two, of 255 bytes on the line each, fit the window of a controller whose
// receiver has a ring of 256.
const blockBytes = 244

// erasing is how long an answer to a block may have to wait for the memory: until the
// controller gives up a sector of serial flash, 600 ms, and a little. A block that were
// sent again before would come on top of those that wait, and find no room.
const erasing = 700 * time.Millisecond

// mostCheck is the most bytes that one question has summed or copied, so that it
// is answered in time; more where the memory's unit is larger.
const mostCheck = 4096

// Upload brings a verified table into the controller and switches to it. On an
// error the show that played goes on playing; calling it again resumes.
func Upload(ctx context.Context, c *link.Conn, t *table.Table, o Options) (Result, error) {
	u := &uploader{ctx: ctx, c: c, t: t, b: t.Bytes(), o: o}
	err := u.run()
	switch {
	case err == nil:
	case ctx.Err() != nil:
		err = fmt.Errorf("upload: interrupted: %w%s", err, u.after(err))
	default:
		err = fmt.Errorf("upload: %w%s", err, u.after(err))
	}
	return u.Result, err
}

// after says what plays and what to do when the line ended, or the user.
func (u *uploader) after(err error) string {
	if !errors.Is(err, link.ErrClosed) && !errors.Is(err, link.ErrSilent) && u.ctx.Err() == nil {
		return ""
	}
	if u.switching {
		return "; either the old show plays or the new one, and status tells which; upload again to be sure"
	}
	return "; the show that played plays on; when the line is there again upload once more, which goes on where this stopped"
}

type uploader struct {
	Result
	ctx   context.Context
	c     *link.Conn
	t     *table.Table
	b     []byte
	o     Options
	unit  int
	plan  []stretch
	ahead []block // under way, the oldest first
	// switching: the switch was asked for
	switching bool
}

func (u *uploader) run() (err error) {
	if u.Board, err = u.c.Hello(u.ctx); err != nil {
		return err
	}
	if err := u.fits(); err != nil {
		return err
	}
	crc := Sum(u.b)
	if u.Board.Installed > 0 && u.Board.Table == crc && !u.o.Whole {
		if u.Same, err = u.stands(); err != nil {
			return err
		}
		if u.Same {
			u.Installed = u.Board.Installed
			return nil
		}
	}
	same, err := u.compare()
	if err != nil {
		return err
	}
	u.plan = plan(&u.t.Header, len(u.b), same)
	if err := u.begin(crc); err != nil {
		return err
	}
	if err := u.fill(); err != nil {
		return err
	}
	return u.commit(crc)
}

// stands tells whether the slot in force holds the table. That is what the record of
// its switch says, and hello; the memory may have lost bits of it since.
func (u *uploader) stands() (bool, error) {
	for at := 0; at < len(u.b); at += mostCheck {
		n := min(mostCheck, len(u.b)-at)
		got, err := u.sum(0, at, n)
		if err != nil || got != Sum(u.b[at:at+n]) {
			return false, err
		}
	}
	return true, nil
}

// commit asks for the switch. The controller sums the whole slot first; that may
// take longer than an answer is waited for, so when none comes, or when a question
// that was sent twice finds the work done, hello tells what has become of it.
func (u *uploader) commit(crc uint32) error {
	u.switching = true
	body, err := u.c.Ask(u.ctx, link.Switch, link.SwitchBody(time.Now()))
	var s *link.StatusError
	if link.IsStatus(err, link.Refused) {
		return fmt.Errorf("%w: it has too little memory for unpacking it, or was built without something that the table needs; build it with the panel_config.h that export --c-header writes for this show; the old show plays on: %w", ErrFirmware, err)
	}
	err = u.explain(err)
	switch {
	case err == nil && len(body) != 4:
		return fmt.Errorf("%w: %d bytes to the switch", link.ErrAnswer, len(body))
	case err == nil:
		u.Installed = binary.LittleEndian.Uint32(body)
	case errors.Is(err, link.ErrSilent), errors.As(err, &s) && s.Status == link.OutOfRange:
		u.Installed = u.Board.Installed + 1
	default:
		return err
	}
	after, silent := u.c.Hello(u.ctx)
	for k := 0; k < len(u.b)>>16 && errors.Is(silent, link.ErrSilent); k++ { // 64 KiB take it half a second
		after, silent = u.c.Hello(u.ctx)
	}
	if silent != nil {
		return silent
	}
	if after.Table != crc || after.Installed != u.Installed {
		if err != nil {
			return err
		}
		return fmt.Errorf("%w: after the switch it names table %08x, not %08x", link.ErrAnswer, after.Table, crc)
	}
	return nil
}

// fits holds the table against what the controller says of itself.
func (u *uploader) fits() error {
	id := &u.Board
	switch {
	case id.Slots < 2:
		return fmt.Errorf("%w: it has %d slots, two are needed; build it with a memory for them, or put the table into the firmware (export --hex)", ErrNoSlots, id.Slots)
	case uint32(len(u.b)) > id.SlotSize:
		return fmt.Errorf("%w: %d bytes, a slot holds %d; shorten clips, keep some of them smooth, or try --pack best", ErrTooLarge, len(u.b), id.SlotSize)
	case u.t.PanelSum() != id.Layout:
		return fmt.Errorf("%w: its wiring has the fingerprint %08x, the controller's firmware %08x; export for this machine's own file, or build the firmware anew", ErrLayout, u.t.PanelSum(), id.Layout)
	}
	return nil
}

// compare finds the clips that the table in force already holds.
func (u *uploader) compare() ([]int, error) {
	same := make([]int, len(u.t.Clips))
	for i := range same {
		same[i] = -1
	}
	if u.Board.Installed == 0 || u.o.Whole {
		return same, nil
	}
	old, err := Playing(u.ctx, u.c)
	err = u.explain(err)
	if err != nil {
		return nil, err
	}
	if old == nil {
		return same, nil
	}
	for _, p := range candidates(old, &u.t.Header) {
		o, n := &old.Clips[p[0]], &u.t.Clips[p[1]]
		if same[p[1]] >= 0 {
			continue
		}
		got, err := u.sum(0, o.Offset, n.Length+4)
		if err != nil {
			return nil, err
		}
		if got == Sum(u.b[n.Offset:n.Offset+n.Length+4]) {
			same[p[1]] = o.Offset
		}
	}
	return same, nil
}

func (u *uploader) begin(crc uint32) error {
	le := binary.LittleEndian
	q := le.AppendUint32(le.AppendUint32(le.AppendUint32(nil, uint32(len(u.b))), crc), u.t.PanelSum())
	body, err := u.ask(link.Begin, q)
	if err != nil {
		return err
	}
	if len(body) != 5 {
		return fmt.Errorf("%w: %d bytes to the beginning", link.ErrAnswer, len(body))
	}
	u.unit = int(le.Uint32(body[1:]))
	if u.unit < 1 || u.unit > 1<<20 {
		return fmt.Errorf("%w: units of %d bytes", link.ErrAnswer, u.unit)
	}
	return nil
}

// fill brings the slot to hold the table. What it holds at its beginning, from an
// upload that broke off or from the show before the last, is not sent again: units
// are summed up, more of them at once as long as they are right, until one is
// found that is not.
func (u *uploader) fill() error {
	from := 0
	for step := u.unit; !u.o.Whole && from < len(u.b); {
		to := min(from+step, len(u.b))
		got, err := u.sum(1, from, to-from)
		if err != nil {
			return err
		}
		if got != Sum(u.b[from:to]) {
			if step == u.unit {
				break
			}
			step /= 2
			continue
		}
		u.Found += to - from
		u.tell(to)
		from = to
		if 2*step <= max(mostCheck, u.unit) {
			step *= 2
		}
	}
	if from > 0 && from < len(u.b) {
		// An empty block: the next one will stand there.
		if _, err := u.ask(link.Block, binary.LittleEndian.AppendUint32(nil, uint32(from))); err != nil {
			return err
		}
	}
	for _, s := range within(u.plan, from, len(u.b)) {
		if err := u.bring(s); err != nil {
			return err
		}
	}
	return u.settle(0)
}

// bring sends a stretch or has it copied.
func (u *uploader) bring(s stretch) error {
	le := binary.LittleEndian
	if s.old >= 0 {
		if err := u.settle(0); err != nil {
			return err
		}
		// In pieces, so that each is answered in time.
		for at := s.from; at < s.to; {
			n := min(mostCheck, s.to-at)
			q := le.AppendUint32(le.AppendUint32(le.AppendUint32(nil, uint32(s.old+at-s.from)), uint32(at)), uint32(n))
			if _, err := u.ask(link.Copy, q); err != nil {
				return err
			}
			at += n
			u.Copied += n
			u.tell(at)
		}
		return nil
	}
	for at := s.from; at < s.to; {
		b := block{at: at, n: min(blockBytes, s.to-at)}
		if err := u.start(&b); err != nil {
			return err
		}
		at += b.n
		u.ahead = append(u.ahead, b)
		u.Sent += b.n
	}
	return nil
}

// block is one that is under way.
type block struct {
	at, n, wire, refused int
	q                    *link.Question
}

// mostRefused is how often one block is sent again because another one was missing
// before it.
const mostRefused = 16

// body is a block as its message holds it.
func (u *uploader) body(b *block) []byte {
	return append(binary.LittleEndian.AppendUint32(nil, uint32(b.at)), u.b[b.at:b.at+b.n]...)
}

// start sends a block when the controller has room for it, by what it promised; at
// least one is always under way.
func (u *uploader) start(b *block) error {
	body := u.body(b)
	b.wire = len(body) + link.MostWire - link.MostBody
	for len(u.ahead) > 0 {
		under := b.wire
		for _, a := range u.ahead {
			under += a.wire
		}
		if under <= int(u.Board.Window) {
			break
		}
		if err := u.settle(len(u.ahead) - 1); err != nil {
			return err
		}
	}
	var err error
	b.q, err = u.c.Start(link.Block, body)
	return err
}

// settle waits until at most so many blocks are under way.
func (u *uploader) settle(most int) error {
	for len(u.ahead) > most {
		b := &u.ahead[0]
		body, err := u.c.FinishSlow(u.ctx, b.q, erasing)
		if link.IsStatus(err, link.OutOfRange) && b.refused < mostRefused {
			if err := u.again(); err != nil {
				return err
			}
			continue
		}
		if err != nil {
			return u.explain(err)
		}
		if len(body) != 4 || int(binary.LittleEndian.Uint32(body)) < b.at+b.n {
			return fmt.Errorf("%w: a block up to byte %d was answered with % x", link.ErrAnswer, b.at+b.n, body)
		}
		u.tell(b.at + b.n)
		u.ahead = u.ahead[1:]
	}
	return nil
}

// again sends all blocks once more that are under way. One that was lost on the line
// leaves no place for those behind it: they were refused. All of them go out before
// any new one, which would be refused in its turn, and so on up to the end.
func (u *uploader) again() (err error) {
	for i := range u.ahead {
		b := &u.ahead[i]
		if i > 0 {
			var s *link.StatusError
			if _, err := u.c.FinishSlow(u.ctx, b.q, erasing); err != nil && (!errors.As(err, &s) || s.Status != link.OutOfRange) {
				return u.explain(err)
			}
		}
		b.refused++
		if b.q, err = u.c.Start(link.Block, u.body(b)); err != nil {
			return err
		}
	}
	return nil
}

func (u *uploader) tell(done int) {
	if u.o.Progress != nil {
		u.o.Progress(done, len(u.b))
	}
}

// sum asks for the CRC-32 of a range: of the table in force (0) or of the slot
// that is being filled (1).
func (u *uploader) sum(which uint8, from, n int) (uint32, error) {
	le := binary.LittleEndian
	q := le.AppendUint32(le.AppendUint32([]byte{which}, uint32(from)), uint32(n))
	body, err := u.ask(link.Verify, q)
	if err != nil {
		return 0, err
	}
	if len(body) != 4 {
		return 0, fmt.Errorf("%w: a sum of %d bytes", link.ErrAnswer, len(body))
	}
	return le.Uint32(body), nil
}

func (u *uploader) ask(kind link.Kind, body []byte) ([]byte, error) {
	b, err := u.c.Ask(u.ctx, kind, body)
	return b, u.explain(err)
}

// explain puts a status into words with a remedy.
func (u *uploader) explain(err error) error {
	var s *link.StatusError
	if !errors.As(err, &s) {
		return err
	}
	switch s.Status {
	case link.Busy:
		return fmt.Errorf("%w: it takes a table only while it was told that all loads stand still; wait until they do and upload again, which goes on where this stopped (a machine that tells nothing: --all-stopped): %w", ErrBusy, err)
	case link.Refused:
		return fmt.Errorf("%w: export for this machine's own file: %w", ErrLayout, err)
	case link.Damaged, link.Storage:
		return fmt.Errorf("%w; the old show plays on. Try once more; if it stays so, the memory is worn out, or a chip of its own is not connected: %w", ErrMemory, err)
	}
	return err
}
