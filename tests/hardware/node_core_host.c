/* The node's logic compiled for the host, with plain functions for the tests to call. */
#include "node_core.h"

int core_quadrature(int old_state, int new_state)
{
    return quadrature_step((uint8_t)old_state, (uint8_t)new_state);
}

/* Edges in, whole frames out (fetched after every edge, as the main loop would); returns how many. */
int core_frames(const uint32_t *ticks, const uint8_t *levels, int edges, frame_t *frames, int room, int *broken)
{
    catcher_t catcher = {0};
    int i, found = 0;
    for (i = 0; i < edges; i++) {
        catcher_edge(&catcher, levels[i], ticks[i], i);
        if (found < room && catcher_fetch(&catcher, ticks[i], &frames[found]))
            found++;
    }
    if (edges && found < room && catcher_fetch(&catcher, ticks[edges - 1] + FRAME_GAP_TICKS + 1, &frames[found]))
        found++;
    *broken = catcher.broken;
    return found;
}

/* The same, but the main loop never fetches: how many frames are lost. */
int core_frames_not_fetched(const uint32_t *ticks, const uint8_t *levels, int edges)
{
    catcher_t catcher = {0};
    int i;
    for (i = 0; i < edges; i++)
        catcher_edge(&catcher, levels[i], ticks[i], i);
    return catcher.broken;
}

/* Levels looked at, presses out; returns how many. */
int core_presses(const uint32_t *ticks, const uint8_t *closed, int looks, uint32_t *presses, int room)
{
    foot_switch_t s = {0};
    int i, found = 0;
    s.changed = looks ? ticks[0] : 0;
    for (i = 0; i < looks; i++)
        if (foot_switch_look(&s, closed[i], ticks[i], 0) && found < room)
            presses[found++] = s.first;
    return found;
}

/* A frame line for an event `age` ticks before `ticks` ticks after the start; returns its length. */
int core_line(int sequence, uint32_t seconds, uint32_t into, uint32_t age, const frame_t *frame, char *text)
{
    line_t line;
    seconds_t s = {0, 0};
    int i;
    s.seconds = seconds;
    s.base = 0xFFFFFF00UL; /* near the turn of the tick counter */
    seconds_advance(&s, s.base + into);
    line_begin(&line, 'F', (uint16_t)sequence, &s, 0xFFFFFF00UL + into - age);
    line_frame(&line, frame);
    line_end(&line);
    for (i = 0; i < line.length; i++)
        text[i] = line.text[i];
    return line.length;
}
