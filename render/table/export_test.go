package table

import (
	"bufio"
	"bytes"
	"encoding/hex"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Source: Intel's specification's records as they are widely printed, their
// sums recomputed.
func TestHexRecords(t *testing.T) {
	for _, c := range []struct {
		kind    uint8
		address uint16
		data    string
		want    string
	}{
		{0, 0x0100, "214601360121470136007efe09d21901", ":10010000214601360121470136007EFE09D2190140"},
		{0, 0x0030, "02337a", ":0300300002337A1E"},
		{1, 0, "", ":00000001FF"},
		{4, 0, "ffff", ":02000004FFFFFC"},
		{4, 0, "0800", ":020000040800F2"},
	} {
		data, err := hex.DecodeString(c.data)
		require.NoError(t, err)
		var b bytes.Buffer
		w := bufio.NewWriter(&b)
		hexRecord(w, c.kind, c.address, data)
		require.NoError(t, w.Flush())
		require.Equal(t, c.want+"\n", b.String())
	}
}

// A slow reader of the other side puts every byte back where it was, over
// 64 KiB borders, from odd addresses.
func TestHexReadsBack(t *testing.T) {
	for _, base := range []uint32{0, 1, 0xfff7, 0x12345, 0xffff_0000} {
		data := make([]byte, 65_530)
		for i := range data {
			data[i] = byte(i * 31)
		}
		var b bytes.Buffer
		require.NoError(t, WriteHex(&b, data, base))
		got := map[uint32]byte{}
		upper, ended := uint32(0), false
		for line := range strings.Lines(b.String()) {
			require.False(t, ended)
			r, err := hex.DecodeString(strings.TrimPrefix(strings.TrimSpace(line), ":"))
			require.NoError(t, err)
			sum := byte(0)
			for _, v := range r {
				sum += v
			}
			require.Zero(t, sum)
			require.Len(t, r, int(r[0])+5)
			low := uint32(r[1])<<8 | uint32(r[2])
			switch r[3] {
			case 0:
				require.LessOrEqual(t, low+uint32(r[0]), uint32(1<<16), "a record crosses 64 KiB")
				for i, v := range r[4 : len(r)-1] {
					got[upper<<16+low+uint32(i)] = v
				}
			case 1:
				ended = true
			case 4:
				upper = uint32(r[4])<<8 | uint32(r[5])
			}
		}
		require.True(t, ended)
		require.Len(t, got, len(data))
		for i, v := range data {
			require.Equal(t, v, got[base+uint32(i)])
		}
	}
	require.ErrorIs(t, WriteHex(&bytes.Buffer{}, make([]byte, 17), 0xffff_fff0), ErrLimit)
}

func TestCHeaderHoldsEveryByte(t *testing.T) {
	for _, n := range []int{0, 1, MostArray - 1, MostArray, MostArray + 1, 2*MostArray + 7} {
		data := make([]byte, n)
		for i := range data {
			data[i] = byte(i * 7)
		}
		var b bytes.Buffer
		require.NoError(t, WriteC(&b, data, "cabinet"))
		var got []byte
		for _, m := range regexp.MustCompile(` 0x([0-9a-f]{2}),`).FindAllStringSubmatch(b.String(), -1) {
			v, err := strconv.ParseUint(m[1], 16, 8)
			require.NoError(t, err)
			got = append(got, byte(v))
		}
		require.True(t, bytes.Equal(data, got))
		for _, m := range regexp.MustCompile(`cabinet_\d\[(\d+)\]`).FindAllStringSubmatch(b.String(), -1) {
			size, _ := strconv.Atoi(m[1])
			require.LessOrEqual(t, size, 32_767)
		}
	}
	require.ErrorIs(t, WriteC(&bytes.Buffer{}, nil, "2nd"), ErrData)
	require.ErrorIs(t, WriteC(&bytes.Buffer{}, nil, "a-b"), ErrData)
}

// The header compiles as strict C99 and gives the bytes back.
func TestCHeaderCompiles(t *testing.T) {
	cc, err := exec.LookPath("cc")
	if err != nil {
		t.Skip("no C compiler here: the header was not compiled")
	}
	data := make([]byte, MostArray+100)
	for i := range data {
		data[i] = byte(i * 7)
	}
	dir := t.TempDir()
	var b bytes.Buffer
	require.NoError(t, WriteC(&b, data, "cabinet"))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "cabinet.h"), b.Bytes(), 0o666))
	main := `#include <stdio.h>
#include "cabinet.h"
int main(void) { fwrite(cabinet_0, 1, CABINET_LENGTH_0, stdout); fwrite(cabinet_1, 1, CABINET_LENGTH_1, stdout);
	return CABINET_LENGTH == 32100UL && CABINET_PARTS == 2 ? 0 : 1; }`
	require.NoError(t, os.WriteFile(filepath.Join(dir, "main.c"), []byte(main), 0o666))
	out, err := exec.Command(cc, "-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "-o", filepath.Join(dir, "main"), filepath.Join(dir, "main.c")).CombinedOutput()
	require.NoError(t, err, string(out))
	got, err := exec.Command(filepath.Join(dir, "main")).Output()
	require.NoError(t, err)
	require.True(t, bytes.Equal(data, got))
}

func TestCodesAndCSV(t *testing.T) {
	s := cabinet()
	n := s.Channels()
	clips := []Clip{
		{Name: "rest", Frames: 5, Channels: n, Bytes: ramp(s, 5)},
		{Name: "turning", Frames: 2, Channels: n, Bytes: ramp(s, 2)},
	}
	tab := written(t, s, clips)
	var codes, note, list bytes.Buffer
	require.NoError(t, WriteCodes(&codes, &note, tab))
	require.Equal(t, append(append([]byte{}, clips[0].Bytes...), clips[1].Bytes...), codes.Bytes())
	var shape Shape
	require.NoError(t, json.Unmarshal(note.Bytes(), &shape))
	require.Equal(t, ClipShape{"turning", 2, int64(5 * n), int64(2 * n)}, shape.Clips[1])
	require.Equal(t, StripShape{"top", 3, 15, "RGBW", []int{}}, shape.Strips[1])

	require.NoError(t, WriteCSV(&list, tab))
	lines := strings.Split(strings.TrimSpace(list.String()), "\n")
	require.Len(t, lines, 1+7)
	require.Equal(t, "clip,frame,seconds,current_mA", lines[0])
	ma := (tab.Meter().Current(clips[0].Bytes[2*n:3*n]) + 999) / 1000
	require.Equal(t, "rest,2,0.050000,"+strconv.FormatInt(ma, 10), lines[3])
}

// written writes a table and reads it back.
func written(t testing.TB, s *Show, clips []Clip) *Table {
	var out bytes.Buffer
	_, err := Write(&out, s, clips, Options{})
	require.NoError(t, err)
	tab, err := Read(out.Bytes(), Limits{})
	require.NoError(t, err)
	return tab
}

// Whole pages: what is read back is the table and ones behind it, above 64 KiB too.
func TestPages(t *testing.T) {
	for _, n := range []int{1, 255, 256, 257, 70_000} {
		b := bytes.Repeat([]byte{0x5a}, n)
		var out bytes.Buffer
		require.NoError(t, WriteHex(&out, Pages(b), 0xff00))
		m, err := ReadHex(&out)
		require.NoError(t, err)
		require.Len(t, m, 1)
		require.Equal(t, uint32(0xff00), m[0].At)
		require.Zero(t, len(m[0].Bytes)%PageBytes)
		require.Less(t, len(m[0].Bytes)-n, PageBytes)
		require.Equal(t, b, m[0].Bytes[:n])
		for _, x := range m[0].Bytes[n:] {
			require.Equal(t, byte(0xff), x)
		}
	}
}
