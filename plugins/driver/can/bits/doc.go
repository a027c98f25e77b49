// Package bits takes numbers out of the data of a CAN message.
//
// Bit b of byte n has the number 8·n + b, where bit 0 of a byte is its least significant one. A field starts at one of its ends and grows from there:
//
//	little-endian, start 12, 12 bits: the least      big-endian, start 11, 12 bits: the most significant
//	significant bit is at the start                  bit is at the start
//
//	byte    7  6  5  4  3  2  1  0                   byte    7  6  5  4  3  2  1  0
//	   0    .  .  .  .  .  .  .  .                      0    .  .  .  .  .  .  .  .
//	   1    3  2  1  0  .  .  .  .                      1    .  .  .  . 11 10  9  8
//	   2   11 10  9  8  7  6  5  4                      2    7  6  5  4  3  2  1  0
//
// This is the numbering of the DBC files in which messages are usually described (common practice, no standard). Everything here is a pure
// function of its arguments.
package bits
