// Package unit holds the quantities that Paneglow's files, flags and screens
// are written in: each is a type that parses and prints itself with its unit.
//
// Place in the pipeline: first. Package show parses both files with it, the
// command line uses the types as flags, every later stage receives them.
//
// In: text such as "8.3 A", "48 mm", "1.25 us". A space between number and
// unit is optional, the unit is not: a bare number is refused, because nobody
// can tell afterwards whether "3" meant amperes or milliamperes. Numbers are
// decimal, with a point and without an exponent.
//
// Out: one typed number in the base unit that the type's comment names.
// Electric currents, times, voltages, shares and sizes are integers and are
// parsed without rounding: "1.25 us" is 1250 ns, and a text with more digits
// than the type holds is refused. The others are float64, correctly rounded
// from the decimal text.
//
// Every type has ParseX, String, Set and Type (the pflag.Value methods),
// MarshalText and UnmarshalText. String gives the shortest exact text in the
// largest unit in which the number is at least 1 (engineering usage; minutes,
// hours and KiB only when whole), and ParseX of that text is the same value.
//
// Refused, as a *ParseError with the text read, the units accepted and an
// example: a missing unit, a unit of something else, a decimal comma, an
// exponent, NaN and infinity, a value out of range, and a negative value,
// except of a length (coordinates may be negative) and of a temperature in
// degrees Celsius.
//
// Wire is no quantity but a thing to buy: a cross-section of IEC 60228 with its
// class, or a gauge of ASTM B258. It parses and prints itself likewise.
//
// Unit symbols are those of the SI brochure (BIPM, 9th edition), "us" and
// "ohm" being the usual plain-letter spellings; KiB and MiB are those of
// IEC 80000-13.
package unit
