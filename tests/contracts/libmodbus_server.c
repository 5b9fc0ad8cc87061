/* A meter by libmodbus, a stranger: `meter PORT`; prints "ready" when it listens, serves until killed.
 *
 * Unit 17, 19200 Bd, 8 data bits, 2 stop bits. Holding register i holds 7 i + 1. Input registers 0 to 7 hold
 * the float 123.456 (IEEE 754: 42 F6 E9 79) in the orders ABCD, CDAB, BADC, DCBA; input register i from 8 on
 * holds 60000 - i. Every third coil and every fifth discrete input is on. 200 registers, 40 bits each.
 */
#include <errno.h>
#include <modbus/modbus.h>
#include <stdint.h>
#include <stdio.h>

enum { UNIT = 17, REGISTERS = 200, BITS = 40 };

static const uint16_t floats[8] = {0x42F6, 0xE979, 0xE979, 0x42F6, 0xF642, 0x79E9, 0x79E9, 0xF642};

static void fill(modbus_mapping_t *map) {
    for (int i = 0; i < REGISTERS; i++) {
        map->tab_registers[i] = (uint16_t)(7 * i + 1);
        map->tab_input_registers[i] = i < 8 ? floats[i] : (uint16_t)(60000 - i);
    }
    for (int i = 0; i < BITS; i++) {
        map->tab_bits[i] = i % 3 == 0;
        map->tab_input_bits[i] = i % 5 == 0;
    }
}

int main(int argc, char **argv) {
    uint8_t request[MODBUS_RTU_MAX_ADU_LENGTH];
    modbus_mapping_t *map = modbus_mapping_new(BITS, BITS, REGISTERS, REGISTERS);
    modbus_t *line = argc == 2 ? modbus_new_rtu(argv[1], 19200, 'N', 8, 2) : NULL;

    if (line == NULL || map == NULL || modbus_set_slave(line, UNIT) != 0 || modbus_connect(line) != 0) {
        fprintf(stderr, "no meter: %s\n", modbus_strerror(errno));
        return 1;
    }
    fill(map);
    puts("ready");
    fflush(stdout);
    for (;;) {
        int length = modbus_receive(line, request);
        if (length < 0 && (errno == EIO || errno == ECONNRESET))
            return 0; /* the other end of the line has gone */
        if (length > 0)
            modbus_reply(line, request, length, map);
    }
}
