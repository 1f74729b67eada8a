package blackbox

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/controller/link"
	"paneglow/render/table"
)

// put appends a record to a log.
func put(l *Log, kind Kind, refresh uint32, body ...byte) {
	r := Record{Kind: kind, Refresh: refresh}
	copy(r.Body[:], body)
	n := uint32(0)
	if k := len(l.Entries); k > 0 {
		n = l.Entries[k-1].Number + 1
	}
	l.Entries = append(l.Entries, Entry{n, r.Bytes()})
}

// sample is a short log of the cabinet's first seconds.
func sample(tab *table.Table) *Log {
	l := &Log{Board: "tram \"stop\"", Firmware: 7, Panel: tab.PanelSum(), Read: time.Date(2026, 11, 29, 3, 0, 0, 0, time.UTC), Refreshes: 400}
	sum := binary.LittleEndian.AppendUint32(nil, TableSum(tab))
	put(l, Unit, 0, 1)
	put(l, Start, 0, 1, 1)
	put(l, Begin, 0, 5, 0, 0, 0, 1)
	put(l, State, 1, 0, 255, 0, 255, 9, 7, 5, 3)
	put(l, Table, 1, append(sum, 1)...)
	put(l, Verified, 2, 31)
	put(l, Clock, 10, 0, 0xe8, 0x34, 1) // Monday, 21:58:00
	put(l, Value, 40, 200)
	put(l, State, 40, 3, 1, 0, 3)
	put(l, Value, 41, 201, 1, 202, 2, 203)
	put(l, Facts, 50, 3)
	put(l, State, 80, 0, 1, 0, 0)
	put(l, Table, 200, append(sum, 1, 0, 0, 1, 1)...)
	put(l, Place, 200, 17, 0, 0, 0, 9, 9, 9, 9, 203)
	put(l, Budget, 200, 0x20, 0xa1, 7, 0, 0x20, 0xa1, 7, 0)
	put(l, Check, 200, 0, 0, 1, 3)
	put(l, State, 300, 2, 2, 0, 0)
	return l
}

func text(l *Log) string {
	var b bytes.Buffer
	_ = l.Write(&b)
	return b.String()
}

func TestFileGoesAroundUnchanged(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := &Log{Board: rapid.String().Draw(t, "board"), Firmware: rapid.Uint16().Draw(t, "firmware"), Panel: rapid.Uint32().Draw(t, "panel"),
			Read: time.Unix(rapid.Int64Range(0, 1<<33).Draw(t, "read"), 0).UTC(), Refreshes: rapid.Uint32().Draw(t, "refreshes")}
		n := uint32(0)
		for range rapid.IntRange(0, 20).Draw(t, "records") {
			n += 1 + uint32(rapid.IntRange(0, 1<<20).Draw(t, "gap"))
			e := Entry{Number: n}
			copy(e.Bytes[:], rapid.SliceOfN(rapid.Byte(), Size, Size).Draw(t, "bytes"))
			l.Entries = append(l.Entries, e)
		}
		if len(l.Board) > 40 {
			l.Board = "long"
		}
		got, err := Read(strings.NewReader(text(l)))
		require.NoError(t, err)
		require.Equal(t, l, got)
	})
}

func TestFileIsRefused(t *testing.T) {
	good := text(sample(cabinet(t, table.Plain)))
	_, err := Read(strings.NewReader(good))
	require.NoError(t, err)
	for _, c := range []struct{ from, to, want string }{
		{"version 1", "version 2", `line 1: want "paneglow black box, version 1"`},
		{"firmware 7", "firmware x", `line 3: firmware "x"`},
		{"firmware 7\n", "", `line 3: want "firmware" and its value`},
		{"panel ", "panel z", "line 4: panel"},
		{"read 2026-11-29T03:00:00Z", "read yesterday", `line 5: read "yesterday"`},
		{"refreshes 400", "refreshes -1", `line 6: refreshes "-1"`},
		{"\n1 02", "\n1 2", "line 8: 31 digits of record 1, want 32"},
		{"\n1 02", "\n1 0g", "line 8: record 1: "},
		{"\n2 03", "\n1 03", "line 9: record 1 after record 1"},
		{"\n2 03", "\ntwo 03", "line 9: want a record's number and its bytes"},
	} {
		require.Contains(t, good, c.from)
		_, err := Read(strings.NewReader(strings.Replace(good, c.from, c.to, 1)))
		require.ErrorIs(t, err, ErrFile)
		require.ErrorContains(t, err, c.want)
	}
	for at := range good[:len(good)-1] { // cut anywhere: refused, or a record less
		l, err := Read(strings.NewReader(good[:at]))
		require.True(t, err != nil || len(l.Entries) < strings.Count(good, "\n")-6, "cut at %d", at)
	}
}

// A log that is torn, has a hole, or left records out is cut where nobody can say
// what came into force; a check point begins it anew.
func TestSpans(t *testing.T) {
	tab := cabinet(t, table.Plain)
	cut := func(change func(l *Log)) string {
		l := sample(tab)
		change(l)
		var s []string
		for _, x := range l.Spans() {
			s = append(s, fmt.Sprint(x.From, "-", x.To))
		}
		return strings.Join(s, " ")
	}
	require.Equal(t, "1-400", cut(func(*Log) {}))
	require.Equal(t, "1-39 200-400", cut(func(l *Log) { l.Entries[9].Bytes[3] ^= 1 }), "torn: the one before may have a twin")
	require.Equal(t, "1-43 200-400", cut(func(l *Log) { l.Entries = append(l.Entries[:10], l.Entries[11:]...) }), "a hole")
	require.Equal(t, "200-400", cut(func(l *Log) { l.Entries = l.Entries[9:] }), "its beginning is gone")
	require.Equal(t, "", cut(func(l *Log) { l.Entries = l.Entries[13:] }), "and with it the check point")
	require.Equal(t, "1-49 200-400", cut(func(l *Log) {
		l.Entries[10].Bytes = Record{Kind: Left, Refresh: 50, Body: [9]byte{3, 0, 60}}.Bytes()
	}))
	require.Equal(t, "1-59 200-400", cut(func(l *Log) { l.Entries[11].Bytes = Record{Kind: Stream, Refresh: 60, Body: [9]byte{1}}.Bytes() }))
	require.Equal(t, "1-299", cut(func(l *Log) { put(l, Start, 0, 1, 2) }), "what waited in memory went with the power")
	require.Equal(t, "1-300 1-400", cut(func(l *Log) { put(l, Begin, 0, 5, 0, 0, 0, 1) }), "another table")
	require.Equal(t, "1-400", cut(func(l *Log) {
		e := Entry{Number: l.Entries[len(l.Entries)-1].Number + 1}
		copy(e.Bytes[:], bytes.Repeat([]byte{0xff}, Size))
		l.Entries = append(l.Entries, e)
	}), "nothing was ever written there")

	l := sample(tab)
	l.Entries[9].Bytes[3] ^= 1
	spans := l.Spans()
	_, err := Find(spans, nil, -1, 100)
	require.ErrorContains(t, err, "exact up to refresh 39 only, for record 9 is torn or damaged; what can be played again is refreshes 1 to 39 of run 0, refreshes 200 to 400 of run 0")
	_, err = Find(spans, nil, -1, 401)
	require.ErrorContains(t, err, "exact up to refresh 400 only, for the log was read then")
	_, err = Find(spans, nil, 4, 3)
	require.ErrorContains(t, err, "does not reach back")
	s, err := Find(spans, nil, -1, 250)
	require.NoError(t, err)
	_, err = s.Play(cabinet(t, table.Quick), 250)
	require.ErrorIs(t, err, ErrTable)
	p, err := s.Play(tab, 250)
	require.NoError(t, err)
	require.EqualValues(t, 250, p.Number())
}

// FuzzLog takes any file for a log, lists it, cuts it and plays a little of it.
func FuzzLog(f *testing.F) {
	tab := cabinet(f, table.Plain)
	good := sample(tab)
	f.Add(text(good))
	bad := sample(tab)
	put(bad, Dead, 301, 1, 200, 0, 200, 0, 201, 0, 1, 1)
	put(bad, Lost, 302, 9, 1)
	put(bad, Service, 303, 9)
	put(bad, Kind(200), 304)
	put(bad, Check, 5)
	f.Add(text(bad))
	f.Fuzz(func(t *testing.T, s string) {
		l, err := Read(strings.NewReader(s))
		if err != nil {
			require.True(t, errors.Is(err, ErrFile), "%v", err)
			return
		}
		// What a fuzzer changes has no right CRC any more: mend it, or nothing is tried.
		for i := range l.Entries {
			b := &l.Entries[i].Bytes
			if b[15]&1 == 0 {
				binary.LittleEndian.PutUint16(b[14:], link.CRC(b[:14]))
			}
			if Kind(b[0]) == Table {
				binary.LittleEndian.PutUint32(b[5:], TableSum(tab))
				binary.LittleEndian.PutUint16(b[14:], link.CRC(b[:14]))
			}
		}
		require.NoError(t, l.List(io.Discard, Names{tab}))
		for _, x := range l.Spans() {
			require.LessOrEqual(t, x.From, x.To)
			p, err := x.Play(tab, x.From)
			if err != nil {
				continue
			}
			dst := make([]uint8, tab.Channels())
			for i := x.From; i <= min(x.To, x.From+20); i++ {
				if _, err := p.Next(dst); err != nil {
					break
				}
			}
		}
	})
}
