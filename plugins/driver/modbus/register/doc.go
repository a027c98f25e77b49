// Package register reads numbers from the registers of Modbus, of 16 bits each. The protocol sends the high byte of a register first and
// says nothing of numbers that need several; makers have used all four orders there are. Pure functions, safe for concurrent use.
package register
