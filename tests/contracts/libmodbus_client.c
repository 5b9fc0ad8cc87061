/* A master by libmodbus, a stranger: `client PORT UNIT`; one request a line on stdin, one answer a line.
 *
 *     3 START COUNT, 4 START COUNT        read holding or input registers
 *     23 WRITE WORD WORD READ COUNT       write two words from WRITE on, and read, in one request
 *
 * Answers are decimal words, or `refused CODE`, the exception's number.
 */
#include <errno.h>
#include <modbus/modbus.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

static int answer(modbus_t *line, const int *n) {
    uint16_t words[MODBUS_MAX_READ_REGISTERS];
    uint16_t written[2] = {(uint16_t)n[2], (uint16_t)n[3]};
    int count = -1;

    if (n[0] == 3)
        count = modbus_read_registers(line, n[1], n[2], words);
    else if (n[0] == 4)
        count = modbus_read_input_registers(line, n[1], n[2], words);
    else if (n[0] == 23)
        count = modbus_write_and_read_registers(line, n[1], 2, written, n[4], n[5], words);
    if (count < 0)
        return printf("refused %d\n", errno - MODBUS_ENOBASE);
    for (int i = 0; i < count; i++)
        printf(i == 0 ? "%d" : " %d", words[i]);
    return printf("\n");
}

int main(int argc, char **argv) {
    char text[256];
    modbus_t *line = argc == 3 ? modbus_new_rtu(argv[1], 19200, 'N', 8, 2) : NULL;

    if (line == NULL || modbus_set_slave(line, atoi(argv[2])) != 0 || modbus_connect(line) != 0) {
        fprintf(stderr, "no line: %s\n", modbus_strerror(errno));
        return 1;
    }
    modbus_set_response_timeout(line, 5, 0);
    while (fgets(text, sizeof text, stdin) != NULL) {
        int n[6] = {0};
        sscanf(text, "%d %d %d %d %d %d", &n[0], &n[1], &n[2], &n[3], &n[4], &n[5]);
        answer(line, n);
    }
    return 0;
}
