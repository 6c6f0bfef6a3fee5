/* A board for the sensor node's real binary: the simulated processor, its serial port, and hands on its pins.
 *
 *   node_board FIRMWARE.elf bytes    serial output raw on stdout, as fast as it runs
 *   node_board FIRMWARE.elf pty      serial port on a pseudo terminal ("port /dev/..." on stdout), in real time; the
 *                                    simulation begins with the first event line
 *
 * stdin, one event a line, in the order of time (microseconds since the start):
 *   <us> <port letter><pin> <level>   e.g.  1000 D2 1
 *   <us> reset
 *   <us> end
 */
#include <avr_ioport.h>
#include <avr_uart.h>
#include <uart_pty.h>
#include <sim_avr.h>
#include <sim_elf.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

static avr_t *avr;

static void to_stdout(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    (void)param;
    putchar((int)(value & 0xff));
}

static void quiet(avr_t *who, const int level, const char *format, va_list list)
{
    (void)who;
    if (level <= LOG_WARNING)
        vfprintf(stderr, format, list);
}

static uint64_t host_us(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (uint64_t)now.tv_sec * 1000000u + (uint64_t)now.tv_nsec / 1000u;
}

static uint64_t board_us(void)
{
    return avr->cycle / 16u; /* a reset does not set the count of cycles back */
}

static void run_until(uint64_t us, int paced, uint64_t began)
{
    while (board_us() < us) {
        int state = avr_run(avr);
        if (state == cpu_Crashed || state == cpu_Done) {
            fprintf(stderr, "the firmware stopped at %llu us\n", (unsigned long long)board_us());
            exit(3);
        }
        if (paced && board_us() > host_us() - began + 200)
            usleep(200);
    }
}

static void handle(const char *what, int level)
{
    if (strcmp(what, "reset") == 0) {
        avr_reset(avr);
        return;
    }
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(what[0]), atoi(what + 1)), (uint32_t)level);
}

int main(int argc, char **argv)
{
    elf_firmware_t firmware;
    uart_pty_t pty;
    char text[80], what[16];
    unsigned long long us;
    uint64_t began = 0;
    uint32_t flags = 0;
    int level = 0, paced = argc == 3 && strcmp(argv[2], "pty") == 0;
    if (argc != 3)
        return 2;
    memset(&firmware, 0, sizeof firmware);
    avr_global_logger_set(quiet);
    if (elf_read_firmware(argv[1], &firmware) != 0)
        return 2;
    avr = avr_make_mcu_by_name("atmega328p");
    if (!avr)
        return 2;
    avr_init(avr);
    avr->frequency = 16000000;
    avr_load_firmware(avr, &firmware);
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags); /* nothing of the simulator's own on stdout */
    if (paced) {
        uart_pty_init(avr, &pty);
        uart_pty_connect(&pty, '0');
        printf("port %s\n", pty.pty.slavename);
        fflush(stdout);
    } else {
        avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), to_stdout, NULL);
    }
    handle("B0", 1); /* the foot switch is open */
    while (fgets(text, sizeof text, stdin)) {
        if (sscanf(text, "%llu %15s %d", &us, what, &level) < 2)
            return 2;
        if (!began)
            began = host_us() - board_us();
        run_until(us, paced, began);
        if (strcmp(what, "end") == 0)
            break;
        handle(what, level);
    }
    fflush(stdout);
    if (paced)
        uart_pty_stop(&pty);
    return 0;
}
