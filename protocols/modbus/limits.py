"""The numbers of the Modbus specification, each with its clause.

AP = MODBUS Application Protocol Specification V1.1b3 (2012-04-26); SL = MODBUS over Serial Line V1.02
(2006-12-20).
"""

#: Bytes of the longest RTU frame: unit address, 253 bytes of function and data, checksum (SL 2.5.1, p. 13).
FRAME = 256
#: Bytes of the longest function-and-data part (AP 4.1, p. 5).
PDU = 253
#: Unit address, function, checksum: there is no shorter frame (AP 4.1).
SHORTEST_FRAME = 4
#: Unit address, function with its top bit set, exception code, checksum (AP 7, p. 47).
EXCEPTION_FRAME = 5

#: Addresses of one table run from 0 to 65535 (AP 4.3, p. 6).
ADDRESSES = 65536
#: Unit addresses of meters; 0 is broadcast, 248 to 255 are reserved (SL 2.2, p. 8).
UNIT_FIRST, UNIT_LAST, BROADCAST = 1, 247, 0

#: Coils or discretes in one read (AP 6.1, 6.2).
READ_BITS = 2000
#: Registers in one read: 250 bytes, the length being one byte (AP 6.3, 6.4).
READ_REGISTERS = 125
#: Coils in one write (AP 6.11).
WRITE_BITS = 1968
#: Registers in one write (AP 6.12).
WRITE_REGISTERS = 123
#: Registers written by function 23, whose request also says what to read (AP 6.17, p. 38).
READ_WRITE_WRITTEN = 121

#: Bytes of file data in one request or reply of function 20: F5 (AP 6.14, p. 32). The same page allows 253
#: bytes for the whole part, which would be 124 registers; 245 holds for both readings.
FILE_BYTES = 245
#: Registers in the one sub-request of a read: 2 + 2 × 121 = 244 (from FILE_BYTES).
FILE_REGISTERS = 121
#: Sub-requests of 7 bytes in one read: 35 × 7 = 245 (AP 6.14).
FILE_PARTS = 35
#: The only reference type there is (AP 6.14, p. 32).
FILE_REFERENCE = 6
#: Files are 1 to FFFF, records 0 to 270F (AP 6.14; old gear may stop at file 10).
FILE_FIRST, FILE_LAST, FILE_RECORDS = 1, 0xFFFF, 10000

#: Registers in one reply of function 24; its byte count has two bytes and counts the count (AP 6.18, p. 40).
QUEUE_REGISTERS = 31

#: The kind of function 43 that tells what the meter is (AP 6.21, p. 43).
IDENTIFICATION_KIND = 14
#: What is asked: 1 basic, 2 regular, 3 extended (as a stream), 4 one object (AP 6.21, p. 43).
IDENTIFICATION_FIRST, IDENTIFICATION_LAST = 1, 4
