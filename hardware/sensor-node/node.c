/* Sensor node for an ATmega328P at 16 MHz: gauge port, encoder and foot switch to lines on the serial port.
 *
 * Why it exists: a PC cannot count encoder edges or catch clocked bits. Each is done here in an interrupt, stamped with
 * the node's own clock, and sent as the lines of protocol.md. The node only sends: nothing that arrives is looked at.
 *
 *   PD2 (INT0)       gauge clock, through the level shifter
 *   PD3              gauge data, through the level shifter
 *   PC0, PC1 (PCINT) encoder A, B
 *   PC2 (PCINT)      encoder index
 *   PB0              foot switch to ground
 *
 * On the simulated processor gauge bits 14 us apart are caught whole (at 13 us some are lost), and encoder edges 40 us
 * apart are counted while a gauge frame comes in. */
#include <avr/interrupt.h>
#include <avr/io.h>

#include "node_core.h"

#define FIRMWARE "1.1"

#ifndef BAUD
#define BAUD 250000UL
#endif
#define DIVISOR (F_CPU / 16UL / BAUD)
#if F_CPU != 16000000UL
#error "the clock's prescaler is for 16 MHz"
#endif
#if DIVISOR * 16UL * BAUD != F_CPU
#error "this baud rate is not exact at this clock: use 250000, 500000 or 1000000"
#endif

/* A shifter made of one transistor a line turns both lines upside down: build with GAUGE_INVERTED=1. */
#ifndef GAUGE_INVERTED
#define GAUGE_INVERTED 0
#endif

/* Never quite the same interval: a host that wakes every 16 ms would else see every line equally late, and could not
 * tell the delay from the clock. */
#define UNEVEN ((sequence & 15) * 125UL)
#define POSITION_EVERY (17 * TICKS_PER_MS + UNEVEN)
#define INDEX_EVERY (20 * TICKS_PER_MS) /* a carriage that stands on the index's edge must not fill the line */
#define STATUS_EVERY (249 * TICKS_PER_MS + UNEVEN)

static volatile uint16_t overflows;
static volatile int32_t position;
static volatile uint16_t double_changes;
static uint8_t encoder_state, index_level;
static index_t encoder_index;
static catcher_t catcher;

static line_t line;
static uint16_t sequence;
static seconds_t clock_seconds;

/* ---- Time: timer 1 runs through at 2 MHz ------------------------------------------------------------------------- */

ISR(TIMER1_OVF_vect)
{
    overflows++;
}

/* Only with interrupts held off. */
static inline __attribute__((always_inline)) uint32_t ticks_now(void)
{
    uint16_t low = TCNT1;
    uint16_t high = overflows;
    if ((TIFR1 & _BV(TOV1)) && low < 0x8000)
        high++; /* it ran over, and the interrupt has not been served yet */
    return ((uint32_t)high << 16) | low;
}

/* ---- Inputs ------------------------------------------------------------------------------------------------------ */

ISR(INT0_vect)
{
    uint8_t level = PIND & _BV(PD3); /* first of all: the data line holds for a few microseconds only */
#if GAUGE_INVERTED
    level ^= _BV(PD3);
#endif
    catcher_edge(&catcher, level, ticks_now(), position);
}

static inline uint8_t encoder_read(void)
{
    uint8_t pins = PINC;
    return (uint8_t)(((pins & _BV(PC0)) ? 2 : 0) | ((pins & _BV(PC1)) ? 1 : 0));
}

ISR(PCINT1_vect)
{
    uint8_t state = encoder_read();
    uint8_t level = PINC & _BV(PC2);
    int8_t step = quadrature_step(encoder_state, state);
    encoder_state = state;
    if (step == QUADRATURE_ERROR)
        double_changes++;
    else
        position += step;
    if (level != index_level) {
        index_level = level;
        if (level && !encoder_index.waiting) {
            encoder_index.waiting = 1;
            encoder_index.tick = ticks_now();
            encoder_index.position = position;
        }
    }
}

/* ---- Serial port: a ring of bytes, emptied by interrupt ---------------------------------------------------------- */

static volatile uint8_t ring[256];
static volatile uint8_t ring_head, ring_tail; /* they wrap by themselves */

ISR(USART_UDRE_vect)
{
    uint8_t tail = ring_tail;
    if (tail == ring_head) {
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
        return;
    }
    UDR0 = ring[tail];
    ring_tail = tail + 1;
}

/* A line goes out whole or not at all; its sequence number is used up either way, so the host sees what is missing. */
static void send_line(void)
{
    uint8_t i, head = ring_head;
    uint8_t room = (uint8_t)(ring_tail - head - 1);
    line_end(&line);
    sequence++;
    if (line.length > room)
        return;
    for (i = 0; i < line.length; i++)
        ring[head++] = (uint8_t)line.text[i];
    ring_head = head;
    cli();
    UCSR0B |= _BV(UDRIE0);
    sei();
}

/* ---- Lines ------------------------------------------------------------------------------------------------------- */

static void send_hello(uint8_t reset_flags, uint32_t now)
{
    const char *reason = "unknown"; /* a boot loader may have cleared the flags */
    if (reset_flags & _BV(WDRF))
        reason = "watchdog";
    else if (reset_flags & _BV(PORF))
        reason = "power"; /* before brown-out: power-on sets both */
    else if (reset_flags & _BV(BORF))
        reason = "brown-out";
    else if (reset_flags & _BV(EXTRF))
        reason = "reset";
    line_begin(&line, 'H', sequence, &clock_seconds, now);
    line_char(&line, ',');
    line_text(&line, reason);
    line_text(&line, "," FIRMWARE);
    send_line();
}

static void send_frame(const frame_t *frame)
{
    line_begin(&line, 'F', sequence, &clock_seconds, frame->first);
    line_frame(&line, frame);
    send_line();
}

static void send_count(char kind, uint32_t tick, int32_t count)
{
    line_begin(&line, kind, sequence, &clock_seconds, tick);
    line_signed(&line, count);
    send_line();
}

static void send_status(uint32_t now, int32_t count, uint16_t doubles, uint16_t broken)
{
    line_begin(&line, 'S', sequence, &clock_seconds, now);
    line_signed(&line, count);
    line_unsigned(&line, doubles);
    line_unsigned(&line, broken);
    send_line();
}

static void set_up(void)
{
    PORTD = _BV(PD2) | _BV(PD3);          /* pull-ups: the comparator's outputs only pull down */
    PORTC = _BV(PC0) | _BV(PC1) | _BV(PC2);
    PORTB = _BV(PB0);
    TCCR1B = _BV(CS11);                   /* 16 MHz / 8 */
    TIMSK1 = _BV(TOIE1);
    EICRA = _BV(ISC01) | (GAUGE_INVERTED ? 0 : _BV(ISC00)); /* rising edge, or falling behind a transistor */
    EIFR = _BV(INTF0);
    EIMSK = _BV(INT0);
    encoder_state = encoder_read();
    index_level = PINC & _BV(PC2);
    PCMSK1 = _BV(PCINT8) | _BV(PCINT9) | _BV(PCINT10);
    PCICR = _BV(PCIE1);
    UBRR0 = DIVISOR - 1;
    UCSR0B = _BV(TXEN0);
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);   /* 8 data bits, no parity, 1 stop bit */
}

int main(void)
{
    uint8_t reset_flags = MCUSR;
    uint32_t position_sent_at = 0, status_sent_at = 0, index_sent_at = 0;
    int32_t position_sent = 0;
    foot_switch_t foot_switch = {0};
    MCUSR = 0;
    set_up();
    foot_switch.raw = foot_switch.steady = !(PINB & _BV(PB0)); /* held down at the start is not a press */
    sei();
    send_hello(reset_flags, 0);
    for (;;) {
        frame_t frame;
        index_t passed;
        uint8_t have_frame;
        uint32_t now;
        int32_t count;
        uint16_t doubles, broken;
        cli();
        now = ticks_now();
        have_frame = catcher_fetch(&catcher, now, &frame);
        count = position;
        doubles = double_changes;
        broken = catcher.broken;
        passed = encoder_index;
        if (now - index_sent_at >= INDEX_EVERY)
            encoder_index.waiting = 0;
        else
            passed.waiting = 0;
        sei();
        seconds_advance(&clock_seconds, now);
        if (have_frame)
            send_frame(&frame);
        if (foot_switch_look(&foot_switch, !(PINB & _BV(PB0)), now, count))
            send_count('M', foot_switch.first, foot_switch.position);
        if (passed.waiting) {
            send_count('I', passed.tick, passed.position);
            index_sent_at = now;
        }
        if (count != position_sent && now - position_sent_at >= POSITION_EVERY) {
            send_count('P', now, count);
            position_sent = count;
            position_sent_at = now;
        }
        if (now - status_sent_at >= STATUS_EVERY) {
            send_status(now, count, doubles, broken);
            status_sent_at = now;
        }
    }
}
