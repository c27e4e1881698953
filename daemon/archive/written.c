/* SPDX-License-Identifier: MIT */
#include "archive/written.h"

#include "base/timestamp.h"

#include <assert.h>
#include <math.h>

double written_round(double value, int decimals)
{
    static const double power_of_ten[] = {1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9};
    assert(decimals >= 0 && decimals <= 9);
    double scaled = fabs(value) * power_of_ten[decimals];
    if (!(scaled < 0x1p52))
        return value;
    /* As text_number() does: where the product looks like a tie, what it lost by its own rounding decides. */
    double below = (double)(int64_t)scaled, over = scaled - below - 0.5;
    if (over == 0)
        over = fma(fabs(value), power_of_ten[decimals], -scaled);
    double units = below + (over >= 0);
    return units == 0 ? 0 : copysign(units / power_of_ten[decimals], value);
}

double written_value(enum quantity quantity, double inside)
{
    return written_round(quantity_to_written(quantity, inside), quantity_info(quantity)->decimals);
}

void written_print(struct text *to, enum quantity quantity, double inside)
{
    text_number(to, quantity_to_written(quantity, inside), quantity_info(quantity)->decimals);
}

void written_print_duration(struct text *to, int64_t duration)
{
    int64_t seconds = duration / SECOND_MS;
    const struct {
        int64_t count;
        char unit;
    } parts[] = {{seconds / 3600 % 24, 'H'}, {seconds / 60 % 60, 'M'}, {seconds % 60, 'S'}};
    text_putc(to, 'P');
    if (seconds >= 86400)
        text_printf(to, "%lldD", (long long)(seconds / 86400));
    if (seconds % 86400 == 0 && seconds > 0)
        return;
    text_putc(to, 'T');
    for (size_t i = 0; i < 3; i++)
        if (parts[i].count > 0)
            text_printf(to, "%lld%c", (long long)parts[i].count, parts[i].unit);
    if (seconds == 0)
        text_puts(to, "0S");
}

size_t written_barometer(const struct dataset *dataset, uint32_t number)
{
    if (number == NO_BAROMETER)
        return 0;
    size_t i = 0;
    while (i < dataset->barometer_count && dataset->barometers[i].number != number)
        i++;
    assert(i < dataset->barometer_count);
    return i + 1;
}

enum quantity written_note_quantity(const struct note *note)
{
    return note->kind == NOTE_LEVEL || note->kind == NOTE_TAPE_DOWN ? QUANTITY_LEVEL : note->quantity;
}
