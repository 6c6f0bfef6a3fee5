/* The node's logic without its pins: bits into frames, edges into a count, a bouncing contact into a press, numbers
 * into a line. Why a header of its own: it compiles on the host too, so that its every path is tested without a board.
 * It prevents the mistake of a firmware that can only be tried by hand.
 *
 * Times are ticks of half a microsecond in 32 bits; differences are taken modulo 2^32 (35.8 minutes). */
#ifndef NODE_CORE_H
#define NODE_CORE_H

#include <stdint.h>

#define TICKS_PER_MS 2000UL
#define TICKS_PER_S 2000000UL

/* ---- Clocked bits into frames ------------------------------------------------------------------------------------ */

#define FRAME_BYTES 8
#define FRAME_BITS (8 * FRAME_BYTES)
#ifndef FRAME_GAP_TICKS
#define FRAME_GAP_TICKS 1000UL /* a pause of more than 0.5 ms parts two frames */
#endif

typedef struct {
    uint8_t bytes[FRAME_BYTES]; /* the first bit that came is the highest bit of byte 0 */
    uint8_t bits;               /* more than FRAME_BITS: too long, only counted */
    uint32_t first;             /* tick of the first clock edge */
    int32_t position;           /* the encoder's count at that edge */
} frame_t;

typedef struct {
    frame_t taking, done;
    uint32_t last;        /* tick of the newest edge */
    uint16_t broken;      /* frames too long, or lost because the one before was not fetched */
    uint8_t have_done;
    uint8_t mask;         /* where the next bit goes: shifting by a variable costs this processor a loop */
} catcher_t;

static inline void catcher_close(catcher_t *c)
{
    uint8_t i;
    if (c->taking.bits == 0)
        return;
    if (c->taking.bits > FRAME_BITS || c->have_done) {
        c->broken++;
    } else {
        c->done = c->taking;
        c->have_done = 1;
    }
    c->taking.bits = 0;
    for (i = 0; i < FRAME_BYTES; i++) /* here and not at the first edge, which must be over before the second */
        c->taking.bytes[i] = 0;
}

/* One active clock edge with the data line's level. Called from the interrupt. */
static inline void catcher_edge(catcher_t *c, uint8_t level, uint32_t now, int32_t position)
{
    uint8_t at;
    if (c->taking.bits && now - c->last > FRAME_GAP_TICKS)
        catcher_close(c);
    at = c->taking.bits;
    if (at == 0) {
        c->mask = 0x80;
        c->taking.first = now;
        c->taking.position = position;
    }
    if (at < FRAME_BITS) {
        if (level)
            c->taking.bytes[at >> 3] |= c->mask;
        c->mask = c->mask == 1 ? 0x80 : (uint8_t)(c->mask >> 1);
        c->taking.bits = at + 1;
    } else {
        c->taking.bits = FRAME_BITS + 1;
    }
    c->last = now;
}

/* A whole frame, if there is one. Called from the main loop with interrupts held off. */
static inline uint8_t catcher_fetch(catcher_t *c, uint32_t now, frame_t *frame)
{
    if (c->taking.bits && now - c->last > FRAME_GAP_TICKS)
        catcher_close(c);
    if (!c->have_done)
        return 0;
    *frame = c->done;
    c->have_done = 0;
    return 1;
}

/* ---- Encoder edges into a count ---------------------------------------------------------------------------------- */

#define QUADRATURE_ERROR 2

/* old and new are 2-bit states (A high bit, B low bit): -1, 0, +1, or QUADRATURE_ERROR when both changed at once. */
static inline int8_t quadrature_step(uint8_t old_state, uint8_t new_state)
{
    static const int8_t step[16] = {0, 1, -1, 2, -1, 0, 2, 1, 1, 2, 0, -1, 2, -1, 1, 0};
    return step[((old_state & 3) << 2) | (new_state & 3)];
}

/* The index of the encoder as last passed: one line is sent for it while it waits. */
typedef struct {
    uint8_t waiting;
    uint32_t tick;
    int32_t position; /* the count at its edge */
} index_t;

/* ---- A bouncing contact into a press ----------------------------------------------------------------------------- */

#ifndef SWITCH_STEADY_TICKS
#define SWITCH_STEADY_TICKS (10 * TICKS_PER_MS) /* a level counts once it has been steady this long */
#endif

typedef struct {
    uint8_t raw, steady, waiting;
    uint32_t changed; /* tick of the newest change */
    uint32_t first;   /* tick of the first contact of this press */
    int32_t position; /* the encoder's count at that contact */
} foot_switch_t;

/* Returns 1 once for each press; the press happened at s->first. */
static inline uint8_t foot_switch_look(foot_switch_t *s, uint8_t closed, uint32_t now, int32_t position)
{
    if (closed != s->raw) {
        s->raw = closed;
        s->changed = now;
        if (closed && !s->steady && !s->waiting) {
            s->waiting = 1;
            s->first = now;
            s->position = position;
        }
    }
    if (now - s->changed < SWITCH_STEADY_TICKS)
        return 0;
    s->changed = now - SWITCH_STEADY_TICKS; /* so that the difference never wraps while nothing happens */
    s->waiting = 0;
    if (s->raw == s->steady)
        return 0;
    s->steady = s->raw;
    return s->steady;
}

/* ---- Ticks into microseconds since the start --------------------------------------------------------------------- */

typedef struct {
    uint32_t base;    /* tick at which `seconds` began */
    uint32_t seconds;
} seconds_t;

/* Must be called at least every 17 minutes; the main loop does it thousands of times a second. */
static inline void seconds_advance(seconds_t *s, uint32_t now)
{
    while (now - s->base >= TICKS_PER_S && now - s->base < 0x80000000UL) {
        s->base += TICKS_PER_S;
        s->seconds++;
    }
}

/* ---- Numbers into a line with its checksum ----------------------------------------------------------------------- */

#define LINE_BYTES 96

typedef struct {
    char text[LINE_BYTES];
    uint8_t length, sum;
} line_t;

static inline void line_char(line_t *l, char c)
{
    if (l->length >= LINE_BYTES - 5) /* room for *hh CR LF */
        return;
    l->text[l->length++] = c;
    l->sum ^= (uint8_t)c;
}

static inline void line_text(line_t *l, const char *text)
{
    while (*text)
        line_char(l, *text++);
}

/* At least `places` digits. By subtraction: a 32-bit division costs this processor 600 cycles a digit. */
static inline void line_digits(line_t *l, uint32_t number, uint8_t places)
{
    static const uint32_t power[10] = {1000000000UL, 100000000UL, 10000000UL, 1000000UL, 100000UL,
                                       10000UL,      1000UL,      100UL,      10UL,      1UL};
    uint8_t i, started = 0;
    for (i = 0; i < 10; i++) {
        char digit = '0';
        while (number >= power[i]) {
            number -= power[i];
            digit++;
        }
        if (digit != '0' || started || i + places >= 10) {
            line_char(l, digit);
            started = 1;
        }
    }
}

static inline void line_unsigned(line_t *l, uint32_t number)
{
    line_char(l, ',');
    line_digits(l, number, 1);
}

static inline void line_signed(line_t *l, int32_t number)
{
    line_char(l, ',');
    if (number < 0)
        line_char(l, '-');
    line_digits(l, number < 0 ? 0UL - (uint32_t)number : (uint32_t)number, 1);
}

static inline char hex_digit(uint8_t nibble)
{
    nibble &= 15;
    return (char)(nibble < 10 ? '0' + nibble : 'A' + nibble - 10);
}

/* $PTSN<kind>,1,<sequence>,<microseconds since the start> */
static inline void line_begin(line_t *l, char kind, uint16_t sequence, const seconds_t *s, uint32_t tick)
{
    uint32_t seconds = s->seconds;
    int32_t ticks = (int32_t)(tick - s->base); /* an event may lie a little before the second that has begun since */
    while (ticks < 0 && seconds > 0) {
        ticks += (int32_t)TICKS_PER_S;
        seconds--;
    }
    while (ticks >= (int32_t)TICKS_PER_S) {
        ticks -= (int32_t)TICKS_PER_S;
        seconds++;
    }
    if (ticks < 0)
        ticks = 0;
    l->text[0] = '$';
    l->length = 1;
    l->sum = 0;
    line_text(l, "PTSN");
    line_char(l, kind);
    line_text(l, ",1");
    line_unsigned(l, sequence);
    line_char(l, ',');
    if (seconds)
        line_digits(l, seconds, 1);
    line_digits(l, (uint32_t)ticks >> 1, seconds ? 6 : 1);
}

static inline void line_end(line_t *l)
{
    uint8_t sum = l->sum;
    l->text[l->length++] = '*';
    l->text[l->length++] = hex_digit(sum >> 4);
    l->text[l->length++] = hex_digit(sum);
    l->text[l->length++] = '\r';
    l->text[l->length++] = '\n';
}

static inline void line_frame(line_t *l, const frame_t *frame)
{
    uint8_t i;
    line_unsigned(l, frame->bits);
    line_char(l, ',');
    for (i = 0; i < (uint8_t)((frame->bits + 3) >> 2); i++)
        line_char(l, hex_digit((i & 1) ? frame->bytes[i >> 1] : (uint8_t)(frame->bytes[i >> 1] >> 4)));
    line_signed(l, frame->position);
}

#endif
