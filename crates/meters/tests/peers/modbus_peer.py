"""A Modbus device for the tests: `modbus_peer.py tcp PORT` or `modbus_peer.py rtu DEVICE`. Needs pymodbus and pyserial.

Address 7. Holding registers from 100: binary32 2105.5 (W), high word first. Holding 110: 2301 (0.1 V). Input registers from
200: 32-bit −1234 (mA), low word first. Input 210: binary32 NaN. No others.
"""

import sys

from pymodbus.server import StartSerialServer, StartTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice


def registers(address, values):
    return SimData(address, values=values, datatype=DataType.REGISTERS)


holding = [registers(100, [0x4503, 0x9800]), registers(110, [2301])]
inputs = [registers(200, [0xFB2E, 0xFFFF]), registers(210, [0x7FC0, 0x0000])]
none = [SimData(0, values=[False], datatype=DataType.BITS)]
device = SimDevice(7, simdata=(none, none, holding, inputs))

how, where = sys.argv[1:]
print("ready", flush=True)
if how == "tcp":
    StartTcpServer(device, address=("127.0.0.1", int(where)))
else:
    StartSerialServer(device, port=where, baudrate=19200, parity="E")
