package show

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"paneglow/anim/finding"
	"paneglow/anim/unit"

	"github.com/pelletier/go-toml/v2"
	"github.com/stretchr/testify/require"
)

func both(text string) (*Show, finding.List) {
	m, _ := ParseMachine("m.toml", []byte(goodMachine))
	s, list := ParseShow("f.toml", []byte(text))
	return s, append(list, CheckShow(s, m, Names{
		Easing: func(e string) error {
			if e != "linear" && e != "ease" {
				return errors.New("no such easing")
			}
			return nil
		},
		Blend: func(b string) error {
			if b != "normal" && b != "screen" {
				return errors.New("no such mode")
			}
			return nil
		},
	})...)
}

func TestGoodShow(t *testing.T) {
	s, list := both(goodShow)
	require.Empty(t, list)
	require.Equal(t, 40, s.FPS)
	require.Equal(t, unit.Time(5e9), s.Host.Silence)
	c := s.Clips[0]
	require.Equal(t, unit.Time(12e9), c.Length)
	require.Equal(t, []any{1, Normal, "linear", "", 480}, []any{c.Iterations, c.Direction, c.Easing, c.Follow, c.Frames(s.FPS)})
	l := c.Layers[0]
	require.Equal(t, []any{"eaves", "", "", 1.0, "normal"}, []any{l.Pattern, l.Picture, l.As, l.Opacity, l.Blend})
	for key, want := range map[string]Control{
		"tint": {Text: "white", Kind: 's'}, "every": {Text: "6 s", Kind: 's'}, "count": {Text: "3", Kind: 'n'}, "soft": {Text: "true", Kind: 'b'},
	} {
		got := l.With[key]
		require.Equal(t, goodShow[got.Pos.Start:got.Pos.End], got.Literal())
		got.Pos = Pos{}
		require.Equal(t, want, got)
	}
	require.Equal(t, []any{"rows.png", "srgb", []string{"top"}}, []any{s.Clips[1].Layers[1].Picture, s.Clips[1].Layers[1].As, s.Clips[1].Layers[1].Strips})
	x := s.States[1]
	require.Equal(t, []any{Cut, true, unit.Time(12e9), "rest", []string{"carousel"}, []string{"slot"}}, []any{x.HandOver, x.Still, x.AtMost, x.Then, x.Loads, x.Listens})
	require.Equal(t, []any{Crossfade, unit.Time(4e8)}, []any{s.States[0].HandOver, s.States[0].Fade})
}

func TestShowFaults(t *testing.T) {
	for _, w := range []wrong{
		{"fps = 40", "fps = «121»", "show.out_of_range", `fps: 121 is outside 1 to 120`, `write fps = 40`},
		{"fps = 40", "fps = «0»", "show.out_of_range", `fps: 0 is outside 1 to 120`, `write fps = 40`},
		{"fps = 40", "fps = 40\ncap = «\"moments\"»", "show.unknown_word", `cap: "moments" is none of show, clip, moment`, `write "moment"`},
		{"fps = 40", "fps = 40\ncap = «\"moment 10 ms\"»", "show.out_of_range", `cap: 10 ms is outside 100 ms to 1 min`, `write a value such as "1 s"`},
		{"fps = 40", "fps = 40\ncap = «\"moment 2\"»", "unit.missing", `cap: 2 has no unit`, `write "2 s" or "400 ms"`},
		{"fps = 40", "fps = 40\ncap = «\"clips\"»", "show.unknown_word", `cap: "clips" is none of show, clip, moment`, `write "clip"`},
		{"fps = 40", "fps = 40\nencoding = «\"gamma 5\"»", "show.out_of_range", `encoding: gamma 5 is not a number from 1 to 3`, `write "gamma 2.2"`},
		{"fps = 40", "fps = 40\nencoding = «\"linear\"»", "show.unknown_word", `encoding: "linear" is not an encoding`, `write "srgb" or "gamma 2.2"`},
		{"fps = 40", "fps = 40\n«tittle» = 3", "show.unknown_key", `unknown key "tittle" in the show file`, `write title`},
		{"title = \"T\"\n", "«»", "show.missing_key", `the show file has no title`, `add title = "Umbrella cabinet at a tram stop"`},
		{"silence = \"5 s\"\nthen = \"rest\"", "silence = \"5 s\"\nthen = «\"rast\"»", "show.unknown_state", `there is no state "rast" for a silent host`, `write "rest"`},
		{`silence = "5 s"`, `silence = «5»`, "unit.missing", `silence: 5 has no unit`, `write "5 s" or "400 ms"`},
		{"length = \"12 s\"\n", "length = «\"12.01 s\"»\n", "show.not_whole_frames", `clip "rest" lasts 12.01 s, which is 480.4 frames at 40 a second`, `write "12 s" (480 frames) or "12.025 s" (481)`},
		{"length = \"12 s\"\n", "length = «\"1 ms\"»\n", "show.not_whole_frames", `clip "rest" lasts 1 ms, which is 0.04 frames at 40 a second`, `write "25 ms" (1 frames)`},
		{"length = \"12 s\"\n", "length = «\"12 m\"»\n", "unit.unknown", `length: 12 m is a length, not a time`, `write a time such as "400 ms" (units: ns, us, ms, s, min, h)`},
		{"length = \"12 s\"\n", "length = «\"12 s\"»\niterations = 226\n", "show.too_many_frames", `clip "rest" has 108480 frames, the most is 108000`, `shorten it or lower iterations: a state repeats its clip anyway`},
		{"length = \"12 s\"\n", "length = «\"1000 h\"»\n", "show.too_many_frames", `clip "rest" has 144000000 frames, the most is 108000`, `shorten it or lower iterations: a state repeats its clip anyway`},
		{"[[clip]]\nname = \"rest\"\nlength = \"12 s\"\n", "[[«clip»]]\nname = \"rest\"\n", "show.no_length", `clip "rest" has no length`, `add length = "12 s", or follow = "value"`},
		{"length = \"12 s\"\n", "length = «\"12 s\"»\nfollow = \"value\"\n", "show.length_and_follow", `clip "rest" follows the value and has a length`, `remove length: a following clip has 256 frames, one for each value`},
		{"length = \"12 s\"\n", "follow = «\"values\"»\n", "show.unknown_word", `follow: "values" is none of value`, `write "value"`},
		{"length = \"12 s\"\n", "length = \"12 s\"\ndirection = «\"backwards\"»\n", "show.unknown_word", `direction: "backwards" is none of normal, reverse, alternate, alternate-reverse`, `write one of normal, reverse, alternate, alternate-reverse`},
		{"length = \"12 s\"\n", "length = \"12 s\"\neasing = «\"easy\"»\n", "show.easing", `easing: no such easing`, `write an easing function of CSS, such as ease-in-out or steps(4, jump-end)`},
		{`picture = "rows.png"`, "picture = \"rows.png\"\nblend = «\"add\"»", "show.blend", `blend: no such mode`, `write a blend mode of W3C Compositing, such as screen or multiply`},
		{`picture = "rows.png"`, "picture = \"rows.png\"\nopacity = «2»", "show.out_of_range", `opacity: 2 is outside 0 to 1`, `write opacity = 0.5`},
		{"[[clip.layer]]\npicture = \"rows.png\"", "[[«clip.layer»]]", "show.no_source", `layer 2 of clip "turning" has no source`, `add pattern = "eaves" or picture = "rows.png"`},
		{`picture = "rows.png"`, "picture = «\"rows.png\"»\npattern = \"eaves\"", "show.two_sources", `layer 2 of clip "turning" has a pattern and a picture`, `keep one; give the other a layer of its own`},
		{`picture = "rows.png"`, "picture = \"rows.png\"\nwith = «{ a = 1 }»", "show.controls_of_picture", `layer 2 of clip "turning" sets controls, but a picture has none`, `remove with`},
		{`count = 3`, `count = «[3]»`, "show.wrong_type", `control count is a list`, `write a text, a number, true or false`},
		{`strips = ["top"]`, `strips = [«"tops"»]`, "machine.unknown_strip", `there is no strip "tops"`, `write "top"`},
		{`strips = ["top"]`, `strips = ["top", «"top"»]`, "show.listed_twice", `strips lists "top" twice`, `remove one`},
		{"clip = \"rest\"\n", "clip = «\"rests\"»\n", "show.unknown_clip", `there is no clip "rests"`, `write "rest"`},
		{"[[state]]\nname = \"rest\"\nclip = \"rest\"\n", "[[«state»]]\nname = \"rest\"\n", "show.no_clip", `state "rest" shows no clip`, `add clip = "rest"`},
		{`hand_over = "crossfade 0.4 s"`, `hand_over = «"crossfade"»`, "show.hand_over", `hand_over: a crossfade needs its time`, `write "crossfade 0.4 s"`},
		{`hand_over = "crossfade 0.4 s"`, `hand_over = «"crossfade 0.4"»`, "unit.missing", `hand_over: 0.4 has no unit`, `write "0.4 s" or "400 ms"`},
		{`hand_over = "crossfade 0.4 s"`, `hand_over = «"crossfade 2 min"»`, "show.out_of_range", `hand_over: 2 min is above 1 min`, `write a value such as "0.4 s"`},
		{`hand_over = "crossfade 0.4 s"`, `hand_over = «"wipe"»`, "show.hand_over", `hand_over: "wipe" is no hand-over`, `write "cut", "crossfade 0.4 s" or "finish"`},
		{`loads = ["carousel"]`, `loads = [«"carousels"»]`, "machine.unknown_load", `there is no load "carousels"`, `write "carousel"`},
		{`listens = ["slot"]`, `listens = [«"sensor"»]`, "machine.unknown_sensor", `there is no sensor "sensor"`, `write one of slot`},
		{`still = true`, `still = «"yes"»`, "show.wrong_type", `still is a text, not true or false`, `write still = true`},
		{"at_most = \"12 s\"\nthen = \"rest\"", "at_most = «\"12 s\"»", "show.stay_without_then", `state "turning" has a longest stay and no state to go to`, `add then = "rest"`},
		{"at_most = \"12 s\"\nthen = \"rest\"", "then = «\"rest\"»", "show.then_without_stay", `state "turning" names a next state and no longest stay`, `add at_most = "12 s"`},
		{"at_most = \"12 s\"\nthen = \"rest\"", "at_most = \"12 s\"\nthen = «\"resting\"»", "show.unknown_state", `there is no state "resting" to go to`, `write one of rest, turning`},
		{"at_most = \"12 s\"\nthen = \"rest\"", "at_most = \"12 s\"\nthen = «\"turning\"»", "show.then_itself", `state "turning" leads to itself`, `name another state, or remove at_most and then`},
		{"[host]", "[[level]]\nfrom = «\"24:00\"»\nlevel = \"40 %\"\n[host]", "show.time_of_day", `from: "24:00" is not a time of day`, `write hours and minutes from "00:00" to "23:59"`},
		{"[host]", "[[level]]\nfrom = «22:00:00»\nlevel = \"40 %\"\n[host]", "show.wrong_type", `from is a date or time, not a text`, `write from = "22:00"`},
		{"[host]", "[[level]]\nfrom = \"22:00\"\nlevel = «\"0 %\"»\n[host]", "show.out_of_range", `level: 0 % is outside 1 % to 100 %`, `write a value such as "40 %"`},
		{"[host]", "[[level]]\nfrom = \"22:00\"\nlevel = «\"120 %\"»\n[host]", "show.out_of_range", `level: 120 % is outside 1 % to 100 %`, `write a value such as "40 %"`},
		{"[host]", "[[level]]\nfrom = \"22:00\"\ndays = [«\"monday\"»]\nlevel = \"40 %\"\n[host]", "show.unknown_word", `days: "monday" is none of mon, tue, wed, thu, fri, sat, sun`, `write one of mon, tue, wed, thu, fri, sat, sun`},
		{"[host]", "[[level]]\nfrom = \"22:00\"\nlevel = \"40 %\"\n[[level]]\nfrom = «\"22:00\"»\ndays = [\"sat\"]\nlevel = \"20 %\"\n[host]", "show.level_twice", `level 2 begins at the same time of the same day as level 1`, `move one, or give them different days`},
	} {
		t.Run(w.new, func(t *testing.T) {
			text, where := plant(t, goodShow, w)
			_, list := both(text)
			requireFault(t, list, where, w)
		})
	}
}

func TestNotesAndWarnings(t *testing.T) {
	text := strings.Replace(goodShow, "at_most = \"12 s\"\nthen = \"rest\"", "", 1)
	text = strings.Replace(text, `clip = "turning"`, `clip = "rest"`, 1)
	_, list := both(text)
	require.NoError(t, list.Err())
	require.Equal(t, []string{
		`f.toml:17:8 show.clip_never_shown: no state shows clip "turning"; name it as the clip of a state, or remove it`,
		`f.toml:31:8 show.no_exit: state "turning" has no way out of its own: it stays until the machine says otherwise; add at_most and then, if a lost message must not keep it there`,
	}, lines(list))
	require.Equal(t, []finding.Severity{finding.Warning, finding.Note}, []finding.Severity{list[0].Severity, list[1].Severity})
}

func TestWholeFramesAtThirtyASecond(t *testing.T) {
	// A thirtieth is no whole number of nanoseconds: only every third frame has
	// a length that a file can hold.
	require.Equal(t, `write "100 ms" (3 frames) or "200 ms" (6)`, wholeLengths(150e6, 30))
	require.Equal(t, `write "7 s" (49 frames) or "8 s" (56)`, wholeLengths(7.5e9, 7))
	require.Equal(t, 3, (&Clip{Length: 1e8}).Frames(30))
	require.Equal(t, 0, (&Clip{Length: 1.5e8 + 1}).Frames(30))
	require.Equal(t, 256, (&Clip{Follow: "value"}).Frames(30))
}

// Everything wrong at once: nothing hides anything else.
func TestEverythingWrongAtOnce(t *testing.T) {
	text := `titel = "T"
machine = 3
fps = 400
cap = "momentary"
[host]
silence = "5"
[[clip]]
name = "rest"
length = "12,5 s"
direction = "up"
colour = "red"
[[clip.layer]]
opacity = -1
[[clip]]
name = "rest"
length = "1 s"
[[state]]
name = "a b"
clip = "gone"
hand_over = "fade"
at_most = "-3 s"
[[level]]
from = "7:00"
level = "200 %"
`
	s, list := ParseShow("f.toml", []byte(text))
	require.Equal(t, []string{
		`f.toml:1:1 show.missing_key: the show file has no title; add title = "Umbrella cabinet at a tram stop"`,
		`f.toml:1:1 show.unknown_key: unknown key "titel" in the show file; write title`,
		`f.toml:2:11 show.wrong_type: machine is a whole number, not a text; write machine = "machine.toml"`,
		`f.toml:3:7 show.out_of_range: fps: 400 is outside 1 to 120; write fps = 40`,
		`f.toml:4:7 show.unknown_word: cap: "momentary" is none of show, clip, moment; write "moment"`,
		`f.toml:5:2 show.missing_key: [host] has no then; add then = "rest"`,
		`f.toml:6:11 unit.missing: silence: 5 has no unit; write "5 s" or "400 ms"`,
		`f.toml:9:10 unit.number: length: 12,5 has a comma, numbers take a decimal point and no separators; write "12.5 s"`,
		`f.toml:10:13 show.unknown_word: direction: "up" is none of normal, reverse, alternate, alternate-reverse; write one of normal, reverse, alternate, alternate-reverse`,
		`f.toml:11:1 show.unknown_key: unknown key "colour" in clip "rest"; remove it; known here: name, length, iterations, direction, easing, follow, start, keep, layer`,
		`f.toml:13:11 show.out_of_range: opacity: -1 is outside 0 to 1; write opacity = 0.5`,
		`f.toml:14:3 show.missing_key: clip "rest" has no layer; add a table [[clip.layer]]`,
		`f.toml:15:8 show.duplicate_name: a second clip is named "rest", the first is in line 8; give it a name of its own`,
		`f.toml:18:8 show.bad_name: name "a b" holds ' '; use letters a to z, digits, - and _`,
		`f.toml:20:13 show.hand_over: hand_over: "fade" is no hand-over; write "cut", "crossfade 0.4 s" or "finish"`,
		`f.toml:21:11 unit.range: at_most: -3 s is negative, a time is not; write a time such as "400 ms" (units: ns, us, ms, s, min, h)`,
		`f.toml:23:8 show.time_of_day: from: "7:00" is not a time of day; write hours and minutes from "00:00" to "23:59"`,
		`f.toml:24:9 show.out_of_range: level: 200 % is outside 1 % to 100 %; write a value such as "40 %"`,
	}, lines(list))
	require.NotPanics(t, func() { CheckShow(s, nil) })
}

// A header that is broken takes its own table along, and the sub-tables whose
// owner it was, and nothing else.
func TestBrokenHeader(t *testing.T) {
	_, list := ParseShow("f.toml", []byte(strings.Replace(goodShow, "[[clip]]\nname = \"rest\"", "[[clip]\nname = \"rest\"", 1)))
	require.Equal(t, []string{"f.toml:9:7 show.syntax: not TOML: expected ']]' to close array table name; write the header as [[name]]"}, lines(list))
	_, list = ParseShow("f.toml", []byte(strings.Replace(goodShow, "then = \"rest\"\n\n[[clip]]", "\n[[clip]", 1)))
	require.Equal(t, []string{
		`f.toml:5:2 show.missing_key: [host] has no then; add then = "rest"`,
		"f.toml:8:7 show.syntax: not TOML: expected ']]' to close array table name; write the header as [[name]]"}, lines(list))
}

func TestLoad(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "show.toml")
	_, list := LoadShow(path)
	require.Equal(t, []string{path + ` show.no_file: there is no such file; name the show file, or begin with: paneglow new DIR`}, lines(list))
	require.NoError(t, os.WriteFile(path, []byte(goodShow), 0o600))
	s, list := LoadShow(path)
	require.Empty(t, list)
	require.Equal(t, []string{dir, path}, []string{s.Dir, s.File})
	_, list = LoadMachine(dir)
	require.Equal(t, "show.unreadable", list[0].Code)
	require.NoError(t, os.WriteFile(path, make([]byte, MaxFile+1), 0o600))
	_, list = LoadMachine(path)
	require.Equal(t, "show.too_large", list[0].Code)
}

func TestReplaceKeepsEverythingElse(t *testing.T) {
	text := strings.Replace(goodShow, "every = \"6 s\", ", "every   =  \"6 s\" , ", 1)
	text = strings.Replace(text, "[host]", "# a comment, kept: \"6 s\"\r\n[host]   # and this", 1)
	s, list := ParseShow("f.toml", []byte(text))
	require.Empty(t, list)
	c := s.Clips[0].Layers[0].With["every"]
	out, err := Replace([]byte(text), c.Pos, Quote("2.5 s"))
	require.NoError(t, err)
	require.Equal(t, strings.Replace(text, "every   =  \"6 s\" , ", "every   =  \"2.5 s\" , ", 1), string(out))
	// A whole list or table is a value too, and one of a list's values.
	at := s.Clips[1].Layers[1].Keys["strips"]
	out, err = Replace([]byte(text), at, `["left", "top"]`)
	require.NoError(t, err)
	require.Contains(t, string(out), `strips = ["left", "top"]`)
	at = s.Clips[0].Layers[0].Keys["with"]
	out, err = Replace([]byte(text), at, `{ every = "1 s" }`)
	require.NoError(t, err)
	require.Contains(t, string(out), "with = { every = \"1 s\" }\n")
	at = s.States[1].Keys["loads[0]"]
	_, err = Replace([]byte(text), at, `"fan"`)
	require.NoError(t, err)

	for _, bad := range []string{"", "2 s", `"2 s" # rest gone`, `"2 s", more = 1`, "\"2 s\" }\nfps = 3", `"a`, "\x00"} {
		_, err = Replace([]byte(text), c.Pos, bad)
		require.Error(t, err, bad)
	}
	for _, p := range []Pos{{}, {Start: 3, End: 2}, {Start: -1, End: 4}, {Start: 5, End: 1 << 30}, {Start: c.Pos.Start + 1, End: c.Pos.End - 1}, s.Clips[0].Pos} {
		_, err = Replace([]byte(text), p, `"2 s"`)
		require.Error(t, err)
	}
	require.Equal(t, `"a\"b\\c\u000Aé"`, Quote("a\"b\\c\né"))
}

// Whatever the bytes, nothing panics; every place lies within the file; what
// the strict reader accepts as TOML the library's own decoder accepts too.
func FuzzParse(f *testing.F) {
	f.Add([]byte(goodShow))
	f.Add([]byte(goodMachine))
	f.Add([]byte("[[clip]]\nname=\"a\"\n[clip]\n[clip.layer.x]\na.b.c = [1, {d = 2}]\na.b = 3\n"))
	f.Add([]byte("x = [[[[]]], { a = [ # c\n 1,\n], } ]\n\"q\\u0041\" = '''\n'''\n"))
	f.Add([]byte("[panel]\r\nsize = [\"1 mm\", \"2 mm\"]\r\ny = 1979-05-27\n[a]]\n[[b]\n"))
	f.Fuzz(func(t *testing.T, src []byte) {
		s, list := ParseShow("f.toml", src)
		m, more := ParseMachine("f.toml", src)
		list = append(append(list, more...), CheckShow(s, m)...)
		broken := false
		for _, x := range list {
			require.LessOrEqual(t, x.Pos.End, len(src))
			require.GreaterOrEqual(t, x.Pos.Start, 0)
			require.GreaterOrEqual(t, x.Pos.End, x.Pos.Start)
			require.NotEmpty(t, x.Fix)
			broken = broken || x.Code == "show.syntax" || x.Code == "show.duplicate_key"
		}
		var v map[string]any
		if err := toml.Unmarshal(src, &v); (err != nil) != broken {
			t.Fatalf("the reader says broken: %v, the library: %v", broken, err)
		}
		if p := s.Keys["title"]; !broken && s.Title != "" {
			out, err := Replace(src, p, string(src[p.Start:p.End]))
			require.NoError(t, err)
			require.Equal(t, src, out)
			out, err = Replace(src, p, Quote("another"))
			require.NoError(t, err)
			s, _ := ParseShow("f.toml", out)
			require.Equal(t, "another", s.Title)
		}
	})
}
