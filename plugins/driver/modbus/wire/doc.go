// Package wire reads registers over Modbus: the requests 03 and 04 of the MODBUS Application Protocol Specification V1.1b3, framed for TCP
// (MODBUS Messaging on TCP/IP V1.0b) or for a serial line (RTU, MODBUS over Serial Line V1.02).
//
// A Client takes nothing for an answer that is not one to its newest request, as far as the protocol lets that be told. Over TCP each answer has
// the number of its request. On a line it has not: what came unasked is discarded before each request, and more than was asked
// for is an error. After any error but an Exception what comes next may be out of step, and the connection is to be closed.
//
// A Client belongs to one goroutine and starts none. It allocates nothing for each request.
package wire
