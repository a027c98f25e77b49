// Package checksum computes the checksums that senders put into the data of CAN messages, beside the one of the bus itself, so that what
// went wrong in a gateway or a sender is seen as well.
//
// An Algorithm is a value; its sums are pure functions. The names and parameters of the cyclic ones are those of the CRC RevEng catalogue of
// parametrised CRC algorithms, where each check value (of the text 123456789) can be looked up.
package checksum
