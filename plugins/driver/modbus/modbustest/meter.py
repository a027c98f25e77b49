"""A d.c. meter for the tests: a server of Debian's python3-pymodbus 3.0.0, which has nothing in common with the driver's library.

    /usr/bin/python3 meter.py tcp [FAULTS SEED]       answers on loopback and prints the port
    /usr/bin/python3 meter.py serial FILE             answers RTU on a line, 19200 bit/s, and prints "ready"; without parity,
                                                      which a pseudo-terminal has not

It ends when standard input does. Server 1 has:

    input registers 0..11     the current, its integral and the time they are of: float64 A, little-endian throughout (dcba); int64 uC, low
                              register first (cdab); int64 ns of CLOCK_BOOTTIME (abcd). All three are of one instant.
    holding registers 0..83   -2, 65534, -123456789, 3123456789, -1234567890123456789, 12.5, -1e300 as int16, uint16, int32, uint32, int64,
                              float32, float64 (1+1+2+2+4+2+4 = 16 registers) in each order, at 0, 20, 40 and 60: abcd, cdab, badc, dcba

The current goes round in 7 s and in 1.7 s; its integral is in closed form. FAULTS is a share from 0 to 1: of so many requests the answer is
late beyond any patience, an exception, missing, damaged, another server's or a connection closed; all others take 0 to 40 ms, before and after
the sample is taken.
"""
import asyncio
import logging
import math
import os
import random
import struct
import sys
import threading
import time

from pymodbus.constants import Endian
from pymodbus.datastore import ModbusSequentialDataBlock, ModbusServerContext, ModbusSlaveContext
from pymodbus.payload import BinaryPayloadBuilder
from pymodbus.pdu import ExceptionResponse
from pymodbus.server.async_io import ModbusSerialServer, ModbusTcpServer
from pymodbus.transaction import ModbusRtuFramer

logging.disable(logging.CRITICAL)
START = time.clock_gettime_ns(time.CLOCK_BOOTTIME)
WAVES = ((50.0, 7.0), (8.0, 1.7))  # amperes, seconds
MEAN = 20.0


def current(at):
    return MEAN + sum(a * math.sin(2 * math.pi * at / p) for a, p in WAVES)


def integral(at):
    return MEAN * at + sum(a * p / (2 * math.pi) * (1 - math.cos(2 * math.pi * at / p)) for a, p in WAVES)


class Live(ModbusSequentialDataBlock):
    """The registers that are made when they are read."""

    def __init__(self, chance, slow):
        super().__init__(0, [0] * 12)
        self.chance, self.slow = chance, slow

    def getValues(self, address, count=1):
        time.sleep(self.chance.uniform(0, self.slow))
        now = time.clock_gettime_ns(time.CLOCK_BOOTTIME)
        time.sleep(self.chance.uniform(0, self.slow))
        at = (now - START) / 1e9
        registers = list(struct.unpack(">4H", struct.pack(">d", current(at))[::-1]))
        registers += reversed(struct.unpack(">4H", struct.pack(">q", round(integral(at) * 1e6))))
        registers += struct.unpack(">4H", struct.pack(">q", now))
        return registers[address:address + count]


def encodings():
    registers = []
    for byteorder, wordorder in ((Endian.Big, Endian.Big), (Endian.Big, Endian.Little), (Endian.Little, Endian.Big), (Endian.Little, Endian.Little)):
        b = BinaryPayloadBuilder(byteorder=byteorder, wordorder=wordorder)
        b.add_16bit_int(-2)
        b.add_16bit_uint(65534)
        b.add_32bit_int(-123456789)
        b.add_32bit_uint(3123456789)
        b.add_64bit_int(-1234567890123456789)
        b.add_32bit_float(12.5)
        b.add_64bit_float(-1e300)
        registers += (b.to_registers() + [0] * 20)[:20]
    return ModbusSequentialDataBlock(0, registers)


class Faults:
    """What goes wrong with an answer."""

    def __init__(self, chance, share):
        self.chance, self.share = chance, share
        self.kinds = (self.late, self.busy, self.silent, self.damaged, self.foreign, self.closed)

    def __call__(self, response):
        if self.chance.random() >= self.share:
            return response, False
        return self.chance.choice(self.kinds)(response)

    def late(self, response):
        time.sleep(self.chance.uniform(0.3, 0.5))
        return response, False

    def busy(self, response):
        out = ExceptionResponse(response.function_code, self.chance.choice((4, 6)))
        out.transaction_id, out.unit_id = response.transaction_id, response.unit_id
        return out, False

    def silent(self, response):
        response.should_respond = False
        return response, False

    def damaged(self, response):
        return self.chance.randbytes(self.chance.randint(1, 40)), True

    def foreign(self, response):
        response.unit_id = 99
        return response, False

    def closed(self, response):
        raise ConnectionError("as asked for")  # the server then closes the connection


async def main():
    threading.Thread(target=end_with_input, daemon=True).start()
    share, seed = (float(sys.argv[2]), int(sys.argv[3])) if len(sys.argv) > 3 else (0.0, 0)
    chance = random.Random(seed)
    slow = 0.02 if share else 0.0
    unit = ModbusSlaveContext(ir=Live(chance, slow), hr=encodings(), zero_mode=True)
    context = ModbusServerContext(slaves={1: unit}, single=False)
    if sys.argv[1] == "serial":
        server = ModbusSerialServer(context, ModbusRtuFramer, port=sys.argv[2], baudrate=19200, ignore_missing_slaves=True)
        await server.start()
        print("ready", flush=True)
        await server.serve_forever()
    server = ModbusTcpServer(context, address=("127.0.0.1", 0), response_manipulator=Faults(chance, share))
    serving = asyncio.ensure_future(server.serve_forever())
    await server.serving
    print(server.server.sockets[0].getsockname()[1], flush=True)
    await serving


def end_with_input():
    sys.stdin.read()
    os._exit(0)


asyncio.run(main())
