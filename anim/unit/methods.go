package unit

import "time"

// Methods cannot be generic, so each type names its row of the table here, and
// does nothing else.

// set keeps a parsed value only when it is one: a refused flag or key leaves
// what was there before.
func set[T any](dst *T, parse func(string) (T, error), text string) error {
	v, err := parse(text)
	if err == nil {
		*dst = v
	}
	return err
}

// Step is the distance of neighbours, 0 for a density of 0.
func (x Pitch) Step() Length {
	if x <= 0 {
		return 0
	}
	return Length(1000 / float64(x))
}

// Seconds is the time as a number of seconds, for arithmetic that reaches no
// output byte.
func (x Time) Seconds() float64 { return float64(x) / 1e9 }

// Duration is the time as Go's own type, which is nanoseconds too.
func (x Time) Duration() time.Duration { return time.Duration(x) }

// ParseLength reads a length; its error is a *ParseError.
func ParseLength(text string) (Length, error)     { return parseFloat[Length](&lengths, text) }
func (x Length) String() string                   { return printFloat(&lengths, x) }
func (x *Length) Set(text string) error           { return set(x, ParseLength, text) }
func (x *Length) Type() string                    { return lengths.typ }
func (x Length) MarshalText() ([]byte, error)     { return []byte(x.String()), nil }
func (x *Length) UnmarshalText(text []byte) error { return set(x, ParseLength, string(text)) }

// ParseArea reads a cross-section; its error is a *ParseError.
func ParseArea(text string) (Area, error)       { return parseFloat[Area](&areas, text) }
func (x Area) String() string                   { return printFloat(&areas, x) }
func (x *Area) Set(text string) error           { return set(x, ParseArea, text) }
func (x *Area) Type() string                    { return areas.typ }
func (x Area) MarshalText() ([]byte, error)     { return []byte(x.String()), nil }
func (x *Area) UnmarshalText(text []byte) error { return set(x, ParseArea, string(text)) }

// ParseCurrent reads a current; its error is a *ParseError.
func ParseCurrent(text string) (Current, error)    { return parseInt[Current](&currents, text) }
func (x Current) String() string                   { return printInt(&currents, x) }
func (x *Current) Set(text string) error           { return set(x, ParseCurrent, text) }
func (x *Current) Type() string                    { return currents.typ }
func (x Current) MarshalText() ([]byte, error)     { return []byte(x.String()), nil }
func (x *Current) UnmarshalText(text []byte) error { return set(x, ParseCurrent, string(text)) }

// ParseTime reads a time; its error is a *ParseError.
func ParseTime(text string) (Time, error)       { return parseInt[Time](&times, text) }
func (x Time) String() string                   { return printInt(&times, x) }
func (x *Time) Set(text string) error           { return set(x, ParseTime, text) }
func (x *Time) Type() string                    { return times.typ }
func (x Time) MarshalText() ([]byte, error)     { return []byte(x.String()), nil }
func (x *Time) UnmarshalText(text []byte) error { return set(x, ParseTime, string(text)) }

// ParseVoltage reads a voltage; its error is a *ParseError.
func ParseVoltage(text string) (Voltage, error)    { return parseInt[Voltage](&voltages, text) }
func (x Voltage) String() string                   { return printInt(&voltages, x) }
func (x *Voltage) Set(text string) error           { return set(x, ParseVoltage, text) }
func (x *Voltage) Type() string                    { return voltages.typ }
func (x Voltage) MarshalText() ([]byte, error)     { return []byte(x.String()), nil }
func (x *Voltage) UnmarshalText(text []byte) error { return set(x, ParseVoltage, string(text)) }

// ParseShare reads a share; its error is a *ParseError.
func ParseShare(text string) (Share, error)      { return parseInt[Share](&shares, text) }
func (x Share) String() string                   { return printInt(&shares, x) }
func (x *Share) Set(text string) error           { return set(x, ParseShare, text) }
func (x *Share) Type() string                    { return shares.typ }
func (x Share) MarshalText() ([]byte, error)     { return []byte(x.String()), nil }
func (x *Share) UnmarshalText(text []byte) error { return set(x, ParseShare, string(text)) }

// ParseAngle reads an angle; its error is a *ParseError.
func ParseAngle(text string) (Angle, error)      { return parseFloat[Angle](&angles, text) }
func (x Angle) String() string                   { return printFloat(&angles, x) }
func (x *Angle) Set(text string) error           { return set(x, ParseAngle, text) }
func (x *Angle) Type() string                    { return angles.typ }
func (x Angle) MarshalText() ([]byte, error)     { return []byte(x.String()), nil }
func (x *Angle) UnmarshalText(text []byte) error { return set(x, ParseAngle, string(text)) }

// ParsePitch reads a density; its error is a *ParseError.
func ParsePitch(text string) (Pitch, error)      { return parseFloat[Pitch](&pitches, text) }
func (x Pitch) String() string                   { return printFloat(&pitches, x) }
func (x *Pitch) Set(text string) error           { return set(x, ParsePitch, text) }
func (x *Pitch) Type() string                    { return pitches.typ }
func (x Pitch) MarshalText() ([]byte, error)     { return []byte(x.String()), nil }
func (x *Pitch) UnmarshalText(text []byte) error { return set(x, ParsePitch, string(text)) }

// ParseWavelength reads a wavelength; its error is a *ParseError.
func ParseWavelength(text string) (Wavelength, error) {
	return parseFloat[Wavelength](&wavelengths, text)
}
func (x Wavelength) String() string                   { return printFloat(&wavelengths, x) }
func (x *Wavelength) Set(text string) error           { return set(x, ParseWavelength, text) }
func (x *Wavelength) Type() string                    { return wavelengths.typ }
func (x Wavelength) MarshalText() ([]byte, error)     { return []byte(x.String()), nil }
func (x *Wavelength) UnmarshalText(text []byte) error { return set(x, ParseWavelength, string(text)) }

// ParseIntensity reads a luminous intensity; its error is a *ParseError.
func ParseIntensity(text string) (Intensity, error)  { return parseFloat[Intensity](&intensities, text) }
func (x Intensity) String() string                   { return printFloat(&intensities, x) }
func (x *Intensity) Set(text string) error           { return set(x, ParseIntensity, text) }
func (x *Intensity) Type() string                    { return intensities.typ }
func (x Intensity) MarshalText() ([]byte, error)     { return []byte(x.String()), nil }
func (x *Intensity) UnmarshalText(text []byte) error { return set(x, ParseIntensity, string(text)) }

// ParseTemperature reads a colour temperature; its error is a *ParseError.
func ParseTemperature(text string) (Temperature, error) {
	return parseFloat[Temperature](&temperatures, text)
}
func (x Temperature) String() string                   { return printFloat(&temperatures, x) }
func (x *Temperature) Set(text string) error           { return set(x, ParseTemperature, text) }
func (x *Temperature) Type() string                    { return temperatures.typ }
func (x Temperature) MarshalText() ([]byte, error)     { return []byte(x.String()), nil }
func (x *Temperature) UnmarshalText(text []byte) error { return set(x, ParseTemperature, string(text)) }

// ParseResistance reads a resistance; its error is a *ParseError.
func ParseResistance(text string) (Resistance, error) {
	return parseFloat[Resistance](&resistances, text)
}
func (x Resistance) String() string                   { return printFloat(&resistances, x) }
func (x *Resistance) Set(text string) error           { return set(x, ParseResistance, text) }
func (x *Resistance) Type() string                    { return resistances.typ }
func (x Resistance) MarshalText() ([]byte, error)     { return []byte(x.String()), nil }
func (x *Resistance) UnmarshalText(text []byte) error { return set(x, ParseResistance, string(text)) }

// ParseLineResistance reads a resistance per length; its error is a *ParseError.
func ParseLineResistance(text string) (LineResistance, error) {
	return parseFloat[LineResistance](&lineResistances, text)
}
func (x LineResistance) String() string               { return printFloat(&lineResistances, x) }
func (x *LineResistance) Set(text string) error       { return set(x, ParseLineResistance, text) }
func (x *LineResistance) Type() string                { return lineResistances.typ }
func (x LineResistance) MarshalText() ([]byte, error) { return []byte(x.String()), nil }
func (x *LineResistance) UnmarshalText(text []byte) error {
	return set(x, ParseLineResistance, string(text))
}

// ParseFrequency reads a frequency; its error is a *ParseError.
func ParseFrequency(text string) (Frequency, error)  { return parseFloat[Frequency](&frequencies, text) }
func (x Frequency) String() string                   { return printFloat(&frequencies, x) }
func (x *Frequency) Set(text string) error           { return set(x, ParseFrequency, text) }
func (x *Frequency) Type() string                    { return frequencies.typ }
func (x Frequency) MarshalText() ([]byte, error)     { return []byte(x.String()), nil }
func (x *Frequency) UnmarshalText(text []byte) error { return set(x, ParseFrequency, string(text)) }

// ParseSize reads a size; its error is a *ParseError.
func ParseSize(text string) (Size, error)       { return parseInt[Size](&sizes, text) }
func (x Size) String() string                   { return printInt(&sizes, x) }
func (x *Size) Set(text string) error           { return set(x, ParseSize, text) }
func (x *Size) Type() string                    { return sizes.typ }
func (x Size) MarshalText() ([]byte, error)     { return []byte(x.String()), nil }
func (x *Size) UnmarshalText(text []byte) error { return set(x, ParseSize, string(text)) }

// ParseIlluminance reads an illuminance; its error is a *ParseError.
func ParseIlluminance(text string) (Illuminance, error) {
	return parseFloat[Illuminance](&illuminances, text)
}
func (x Illuminance) String() string                   { return printFloat(&illuminances, x) }
func (x *Illuminance) Set(text string) error           { return set(x, ParseIlluminance, text) }
func (x *Illuminance) Type() string                    { return illuminances.typ }
func (x Illuminance) MarshalText() ([]byte, error)     { return []byte(x.String()), nil }
func (x *Illuminance) UnmarshalText(text []byte) error { return set(x, ParseIlluminance, string(text)) }

// ParseCelsius reads a temperature of a thing; its error is a *ParseError.
func ParseCelsius(text string) (Celsius, error)    { return parseFloat[Celsius](&celsiuses, text) }
func (x Celsius) String() string                   { return printFloat(&celsiuses, x) }
func (x *Celsius) Set(text string) error           { return set(x, ParseCelsius, text) }
func (x *Celsius) Type() string                    { return celsiuses.typ }
func (x Celsius) MarshalText() ([]byte, error)     { return []byte(x.String()), nil }
func (x *Celsius) UnmarshalText(text []byte) error { return set(x, ParseCelsius, string(text)) }

// ParseSlewRate reads how fast a current changes; its error is a *ParseError.
func ParseSlewRate(text string) (SlewRate, error)   { return parseInt[SlewRate](&slewRates, text) }
func (x SlewRate) String() string                   { return printInt(&slewRates, x) }
func (x *SlewRate) Set(text string) error           { return set(x, ParseSlewRate, text) }
func (x *SlewRate) Type() string                    { return slewRates.typ }
func (x SlewRate) MarshalText() ([]byte, error)     { return []byte(x.String()), nil }
func (x *SlewRate) UnmarshalText(text []byte) error { return set(x, ParseSlewRate, string(text)) }
