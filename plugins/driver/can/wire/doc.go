// Package wire is a CAN frame and the two forms in which one comes: a line of a log and the bytes that the kernel gives.
//
// A line is what candump of the open-source can-utils writes with -l or -L:
//
//	line      = "(" seconds "." fraction ")" interface frame [ "R" | "T" ]      separated by spaces
//	fraction  = 1 to 9 digits
//	frame     = id "#" data | id "#R" [ length ] | id "##" flags data
//	id        = 3 hexadecimal digits (11 bits) | 8 (29 bits, or an error frame if bit 29 is set)
//	data      = pairs of hexadecimal digits, with or without "." between them; of a classic frame 8 at the most, also
//	            followed by "_" and a raw length code of 9 to F
//	flags     = 1 hexadecimal digit: 1 = bit rate switch, 2 = error state, 4 = CAN FD
//
// R and T at the end say whether the frame was received or sent; both are taken. A CAN FD frame has 0 to 8, 12, 16, 20, 24, 32, 48 or 64 bytes of
// data. CAN XL frames are refused. Blank lines and lines that begin with # are passed over.
//
// The kernel's bytes are struct can_frame or struct canfd_frame of linux/can.h (Documentation/networking/can.rst), told apart by their size.
//
// Times are nanoseconds since 1970. A Reader belongs to one goroutine; everything else is a value. Nothing allocates per frame.
package wire
