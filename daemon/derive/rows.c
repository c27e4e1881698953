/* SPDX-License-Identifier: MIT */
#include "derive/rows.h"

void rows_mark(struct record *record, enum quantity quantity, size_t i, enum test test, uint8_t flag)
{
    record->tests[quantity][i] |= test;
    if (!(record->tests[quantity][i] & TEST_PERSON_RESTORED))
        record->flag[quantity][i] = flag_merge(record->flag[quantity][i], flag);
}

void rows_inherit_one(struct record *record, enum quantity to, enum quantity from, size_t i)
{
    uint8_t flag = record->flag[from][i];
    record->tests[to][i] |= record->tests[from][i] & ~(uint32_t)(TEST_GAP | TEST_PERSON_RESTORED);
    if (flag == FLAG_SUSPECT || flag == FLAG_FAIL)
        record->flag[to][i] = flag_merge(record->flag[to][i], flag);
}

void rows_inherit(struct record *record, enum quantity to, enum quantity from)
{
    for (size_t i = 0; record->value[to] && record->value[from] && i < record->n; i++)
        rows_inherit_one(record, to, from, i);
}

void rows_make(struct record *record, enum quantity made, enum quantity from, size_t i)
{
    record->flag[made][i] = FLAG_NOT_EVALUATED;
    rows_inherit_one(record, made, from, i);
}
