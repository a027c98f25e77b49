package wire

import "fmt"

// Exception is the code of an answer that refuses a request.
type Exception byte

// exceptions are the names of section 7 of the specification.
var exceptions = map[Exception]string{
	0x01: "ILLEGAL FUNCTION", 0x02: "ILLEGAL DATA ADDRESS", 0x03: "ILLEGAL DATA VALUE", 0x04: "SERVER DEVICE FAILURE", 0x05: "ACKNOWLEDGE",
	0x06: "SERVER DEVICE BUSY", 0x08: "MEMORY PARITY ERROR", 0x0a: "GATEWAY PATH UNAVAILABLE", 0x0b: "GATEWAY TARGET DEVICE FAILED TO RESPOND",
}

// Error gives the code and its name.
func (e Exception) Error() string {
	name, known := exceptions[e]
	if !known {
		name = "which the standard does not have"
	}
	return fmt.Sprintf("exception %02X, %s", byte(e), name)
}
