// Package shunt has the side effects of measuring a current by a resistance: the power it takes, how warm it gets and how long that lasts, what a wrong
// pair of terminals adds, and the voltage that warm joints of two metals give when no current flows.
//
// # Contract
//
// Every function computes from its arguments alone. Nothing is started, locked, read or written; calls may run concurrently. Units stand in the names.
package shunt
