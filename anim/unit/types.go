package unit

// Length is a length in millimetres. In text: "48 mm", "0.9 m", "1.2 cm".
type Length float64

// Area is a wire's cross-section in square millimetres. In text: "0.75 mm2".
type Area float64

// Current is a current in microamperes. In text: "12 mA", "8.3 A", "600 uA".
// A negative current is refused.
type Current int64

// Time is a duration in nanoseconds. In text: "12 s", "280 us", "1.25 us", "4 ms", "2 min", "3 h".
type Time int64

// Voltage is a voltage in microvolts. In text: "12 V", "10.5 V", "900 mV".
type Voltage int64

// Share is a part of a whole in millionths. In text: "80 %".
type Share int64

// Angle is an angle in degrees. In text: "20 deg".
type Angle float64

// Pitch is a density in pieces per metre. In text: "60 /m". Its Step is the distance of neighbours.
type Pitch float64

// Wavelength is a wavelength in nanometres. In text: "622 nm".
type Wavelength float64

// Intensity is a luminous intensity in millicandela. In text: "400 mcd", "0.4 cd".
type Intensity float64

// Temperature is a colour temperature in kelvin. In text: "6500 K".
type Temperature float64

// Resistance is an ohmic resistance in ohms. In text: "0.02 ohm", "20 mohm".
type Resistance float64

// LineResistance is a resistance per length in ohms per metre. In text: "0.16 ohm/m".
type LineResistance float64

// Frequency is a frequency in hertz. In text: "2 kHz", "16 MHz", "400 Hz".
type Frequency float64

// Size is an amount of memory in bytes. In text: "248 KiB", "1500 B".
type Size int64

// Illuminance is an illuminance in lux. In text: "8000 lx", "8 klx".
type Illuminance float64

// Celsius is the temperature of a thing in degrees Celsius. In text: "40 degC", "-20 °C".
type Celsius float64

// SlewRate is how fast a current changes, in microamperes a second. In text: "20 A/s".
type SlewRate int64
