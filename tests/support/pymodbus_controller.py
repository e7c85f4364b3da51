# SPDX-License-Identifier: MIT
"""Controllers of pymodbus's making on the terminal named: units 1 and 2, the same in holding and input registers.

They speak Modbus RTU, or Modbus ASCII if a second argument says "ascii".

Only the bytes' way in and out is done here. pymodbus's own serial server wants a package that Debian 12 does not
pull in with it.
"""
import os
import struct
import sys
import tty

from pymodbus.datastore import ModbusSequentialDataBlock, ModbusServerContext, ModbusSlaveContext
from pymodbus.factory import ServerDecoder
from pymodbus.framer.ascii_framer import ModbusAsciiFramer
from pymodbus.framer.rtu_framer import ModbusRtuFramer

READ_BYTES = 512


def words(form, value):
    packed = struct.pack(form, value)
    return [int.from_bytes(packed[i:i + 2], "big") for i in range(0, len(packed), 2)]


def unit(offset):
    registers = words(">h", -12 - offset) + words(">i", -123456 - offset) + words(">f", 805.25 + offset)
    block = ModbusSequentialDataBlock(0, registers)
    return ModbusSlaveContext(hr=block, ir=block, zero_mode=True)


def main():
    context = ModbusServerContext(slaves={1: unit(0), 2: unit(1)}, single=False)
    framer_class = ModbusAsciiFramer if sys.argv[2:] == ["ascii"] else ModbusRtuFramer
    framer = framer_class(ServerDecoder(), client=None)
    line = os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY)
    tty.setraw(line)

    def answer(request):
        response = request.execute(context[request.unit_id])
        response.unit_id = request.unit_id
        response.transaction_id = request.transaction_id
        os.write(line, framer.buildPacket(response))

    while True:
        try:
            data = os.read(line, READ_BYTES)
        except OSError:
            return  # hung up
        if not data:
            return
        framer.processIncomingPacket(data, answer, context.slaves(), single=False)


main()
