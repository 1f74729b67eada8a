package link

// crcTable is CRC-16/IBM-3740's: polynomial 0x1021, high bit first.
var crcTable = func() (t [256]uint16) {
	for i := range t {
		c := uint16(i) << 8
		for range 8 {
			if c&0x8000 != 0 {
				c = c<<1 ^ 0x1021
			} else {
				c <<= 1
			}
		}
		t[i] = c
	}
	return t
}()

// CRC is the CRC-16/IBM-3740 of b: polynomial 0x1021, initial value 0xFFFF, no
// reflection, no final xor; 0x29B1 for "123456789". Starting at 0xFFFF it sees
// zeros that come first.
//
// Source: the public catalogue of CRC parameters, there with this check value.
func CRC(b []byte) uint16 {
	c := uint16(0xffff)
	for _, x := range b {
		c = c<<8 ^ crcTable[uint8(c>>8)^x]
	}
	return c
}
