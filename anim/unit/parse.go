package unit

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
)

// longest is the most bytes of a quantity's text. The longest text that String
// prints is that of a denormal float64, some 330 digits.
const longest = 400

// ParseError says why a text is not the quantity that was wanted.
type ParseError struct {
	Code   string // "unit.missing", "unit.unknown", "unit.number", "unit.range", "unit.digits"
	Text   string // what was read
	Reason string // what is wrong with it; lower case, no full stop
	Fix    string // what to write instead
}

// Error gives reason and fix on one line.
func (e *ParseError) Error() string { return e.Reason + ": " + e.Fix }

// decimal is a number as it was written: sign, digits and how many of them
// stand behind the point.
type decimal struct {
	minus  bool
	digits string
	frac   int
}

// read splits a text into its number and its unit, or says what is wrong.
func (q *quantity) read(text string) (decimal, symbol, error) {
	var d decimal
	none := symbol{}
	fail := func(code, fix, reason string, args ...any) (decimal, symbol, error) {
		return d, none, &ParseError{Code: code, Text: text, Reason: fmt.Sprintf(reason, args...), Fix: fix}
	}
	like := fmt.Sprintf("write %s such as %q (units: %s)", q.name, q.example, q.accepted())
	s := strings.TrimSpace(text)
	if s == "" {
		return fail("unit.number", like, "an empty text is not %s", q.name)
	}
	if len(s) > longest {
		return fail("unit.number", like, "a text of %d bytes is not %s (at most %d)", len(s), q.name, longest)
	}
	body := s
	if body[0] == '-' || body[0] == '+' {
		d.minus = body[0] == '-'
		body = body[1:]
	}
	end := 0
	for end < len(body) && (body[end] >= '0' && body[end] <= '9' || body[end] == '.' || body[end] == ',' || body[end] == '_') {
		end++
	}
	number, name := body[:end], strings.TrimSpace(body[end:])
	whole, behind, point := strings.Cut(number, ".")
	switch {
	case number == "":
		return fail("unit.number", like, "%q does not start with a number", s)
	case strings.Contains(number, ","):
		return fail("unit.number", fmt.Sprintf("write %q", strings.TrimSpace(strings.Replace(strings.ReplaceAll(s, ".", ""), ",", ".", 1))),
			"%s has a comma, numbers take a decimal point and no separators", number)
	case strings.ContainsAny(number, "_") || strings.Contains(behind, ".") || whole == "" || point && behind == "":
		return fail("unit.number", like, "%s is not a decimal number", number)
	case name == "":
		return fail("unit.missing", fmt.Sprintf("write %q or %q", number+" "+q.plain, q.example), "%s has no unit", s)
	}
	unit, ok := q.find(name)
	if !ok {
		return fail("unit.unknown", like, "%s", q.wrong(s, name))
	}
	d.digits, d.frac = whole+behind, len(behind)
	if d.minus && q.min >= 0 && strings.Trim(d.digits, "0") != "" {
		return fail("unit.range", like, "%s is negative, %s is not", s, q.name)
	}
	return d, unit, nil
}

// wrong explains a unit that this quantity does not have.
func (q *quantity) wrong(text, name string) string {
	if (name[0] == 'e' || name[0] == 'E') && strings.ContainsAny(name, "0123456789") {
		return fmt.Sprintf("%s has an exponent, which is not accepted", text)
	}
	for _, other := range all {
		if _, ok := other.find(name); ok && other != q {
			return fmt.Sprintf("%s is %s, not %s", text, other.name, q.name)
		}
	}
	for _, s := range q.units {
		if strings.EqualFold(s.text, name) {
			return fmt.Sprintf("%s is not a unit, %s is", name, s.text)
		}
	}
	return fmt.Sprintf("%q is not a unit of %s", name, strings.TrimPrefix(strings.TrimPrefix(q.name, "an "), "a "))
}

func (q *quantity) outside(text string) error {
	return &ParseError{Code: "unit.range", Text: text, Reason: fmt.Sprintf("%s is outside %s", strings.TrimSpace(text), q.span),
		Fix: fmt.Sprintf("write %s such as %q", q.name, q.example)}
}

// parseInt reads a quantity exactly, as an integer number of base units.
func parseInt[T ~int64](q *quantity, text string) (T, error) {
	d, unit, err := q.read(text)
	if err != nil {
		return 0, err
	}
	n, _ := new(big.Int).SetString(d.digits, 10)
	n.Mul(n, big.NewInt(unit.mul))
	shift := unit.exp - d.frac
	power := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(max(shift, -shift))), nil)
	if shift >= 0 {
		n.Mul(n, power)
	} else if _, rest := n.QuoRem(n, power, new(big.Int)); rest.Sign() != 0 {
		return 0, &ParseError{Code: "unit.digits", Text: text,
			Reason: fmt.Sprintf("%s has more digits than %s holds, the smallest step is %s", strings.TrimSpace(text), q.name, printed(q, "1", 1, true)),
			Fix:    "leave the last digits out"}
	}
	if d.minus {
		n.Neg(n)
	}
	if !n.IsInt64() || n.Int64() < int64(q.min) || n.Int64() > int64(q.max) {
		return 0, q.outside(text)
	}
	return T(n.Int64()), nil
}

// parseFloat reads a quantity as the float64 next to its decimal text. The
// unit's power of ten goes into the text, so there is one rounding only.
func parseFloat[T ~float64](q *quantity, text string) (T, error) {
	d, unit, err := q.read(text)
	if err != nil {
		return 0, err
	}
	v, err := strconv.ParseFloat(d.digits+"e"+strconv.Itoa(unit.exp-d.frac), 64)
	if d.minus && v != 0 {
		v = -v
	}
	if err != nil || v < q.min || v > q.max {
		return 0, q.outside(text)
	}
	return T(v), nil
}

// printInt prints an integer quantity; see printed.
func printInt[T ~int64](q *quantity, x T) string {
	text := strconv.FormatInt(int64(x), 10)
	for i := len(q.units) - 1; i >= 0; i-- {
		s := q.units[i]
		step := float64(s.mul) * pow10(s.exp)
		if s.print && s.whole && x != 0 && step <= math.MaxInt64 && int64(x)%int64(step) == 0 {
			return strconv.FormatInt(int64(x)/int64(step), 10) + " " + s.text
		}
	}
	return printed(q, text, math.Abs(float64(x)), x != 0)
}

// printFloat prints a float quantity; see printed. NaN and infinities, which
// no parser lets in, print as such with the plain unit.
func printFloat[T ~float64](q *quantity, x T) string {
	f := float64(x)
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return fmt.Sprint(f) + " " + q.plain
	}
	return printed(q, strconv.FormatFloat(f, 'f', -1, 64), math.Abs(f), f != 0)
}

// printed gives a decimal text in base units the largest unit in which its
// size is at least 1, moving the point in the text: nothing is rounded.
func printed(q *quantity, text string, size float64, some bool) string {
	plain, _ := q.find(q.plain)
	if !some {
		return "0 " + plain.text
	}
	best := symbol{}
	for _, s := range q.units {
		if s.print && !s.whole && s.mul == 1 && (best.text == "" || size >= pow10(s.exp)) {
			best = s
		}
	}
	return movePoint(text, -best.exp) + " " + best.text
}

func pow10(exp int) float64 {
	v := 1.0
	for ; exp > 0; exp-- {
		v *= 10
	}
	for ; exp < 0; exp++ {
		v /= 10
	}
	return v
}

// movePoint multiplies a plain decimal text by 10^by.
func movePoint(text string, by int) string {
	sign := ""
	if strings.HasPrefix(text, "-") {
		sign, text = "-", text[1:]
	}
	whole, behind, _ := strings.Cut(text, ".")
	digits, at := whole+behind, len(whole)+by
	if at < 1 {
		digits, at = strings.Repeat("0", 1-at)+digits, 1
	}
	if at > len(digits) {
		digits += strings.Repeat("0", at-len(digits))
	}
	whole, behind = strings.TrimLeft(digits[:at], "0"), strings.TrimRight(digits[at:], "0")
	if whole == "" {
		whole = "0"
	}
	if behind != "" {
		behind = "." + behind
	}
	return sign + whole + behind
}
