/* A meter with a memory by libmodbus, a stranger: `memory PORT`; prints "ready", serves until killed.
 *
 * Unit 17, 19200 Bd, 8 data bits, 2 stop bits. 60 records of 4 registers; record n holds n, 7 n + 1,
 * 60000 - n and n xor 5555. Input register 0 tells how many there are; they lie in input registers 100 to
 * 339. Or by a window: holding register 10 takes the number of the first record wanted, 20 tells it, and
 * 5 records lie in 21 to 40. What is written by function 16 or 23 counts before anything is read.
 */
#include <errno.h>
#include <modbus/modbus.h>
#include <stdint.h>
#include <stdio.h>

enum { UNIT = 17, RECORDS = 60, WIDTH = 4, POINTER = 10, ECHO = 20, DATA = 21, AREA = 100, SHOWN = 5 };

static uint16_t word(int record, int place) {
    const int words[WIDTH] = {record, 7 * record + 1, 60000 - record, record ^ 0x5555};
    return record < RECORDS ? (uint16_t)words[place] : 0;
}

static void show(modbus_mapping_t *map, int first) {
    map->tab_registers[ECHO] = (uint16_t)first;
    for (int i = 0; i < SHOWN * WIDTH; i++)
        map->tab_registers[DATA + i] = word(first + i / WIDTH, i % WIDTH);
}

static int number(const uint8_t *bytes) { return bytes[0] << 8 | bytes[1]; }

/* Where a request writes, and its first word: function 16 says so at byte 2, function 23 at byte 6. */
static void follow(modbus_mapping_t *map, const uint8_t *request, int length) {
    int at = request[1] == MODBUS_FC_WRITE_AND_READ_REGISTERS ? 6 : 2;
    int writes = at == 6 || request[1] == MODBUS_FC_WRITE_MULTIPLE_REGISTERS;
    if (writes && length > at + 6 && number(request + at) == POINTER)
        show(map, number(request + at + 5));
}

int main(int argc, char **argv) {
    uint8_t request[MODBUS_RTU_MAX_ADU_LENGTH];
    modbus_mapping_t *map = modbus_mapping_new(0, 0, DATA + SHOWN * WIDTH, AREA + RECORDS * WIDTH);
    modbus_t *line = argc == 2 ? modbus_new_rtu(argv[1], 19200, 'N', 8, 2) : NULL;

    if (line == NULL || map == NULL || modbus_set_slave(line, UNIT) != 0 || modbus_connect(line) != 0) {
        fprintf(stderr, "no meter: %s\n", modbus_strerror(errno));
        return 1;
    }
    map->tab_input_registers[0] = RECORDS;
    for (int i = 0; i < RECORDS * WIDTH; i++)
        map->tab_input_registers[AREA + i] = word(i / WIDTH, i % WIDTH);
    show(map, 0);
    puts("ready");
    fflush(stdout);
    for (;;) {
        int length = modbus_receive(line, request);
        if (length < 0 && (errno == EIO || errno == ECONNRESET))
            return 0; /* the other end of the line has gone */
        if (length > 0) {
            follow(map, request, length);
            modbus_reply(line, request, length, map);
        }
    }
}
