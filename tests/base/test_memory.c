/* SPDX-License-Identifier: MIT */
#include "base/memory.h"

#include "base/random.h"

#include <criterion/criterion.h>
#include <signal.h>
#include <stdalign.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

static bool is_zero(const void *memory, size_t size)
{
    const char *bytes = memory;
    for (size_t i = 0; i < size; i++)
        if (bytes[i])
            return false;
    return true;
}

Test(memory, new_memory_is_zeroed_and_copies_are_ended)
{
    CLEANUP(cleanup_free) char *bytes = x_alloc(100);
    CLEANUP(cleanup_free) int *numbers = x_array(25, sizeof *numbers);
    CLEANUP(cleanup_free) char *copy = x_strdup("creek");
    CLEANUP(cleanup_free) char *part = x_strndup("creek", 2);
    CLEANUP(cleanup_free) char *printed = x_printf("%s-%03d", "s", 7);
    CLEANUP(cleanup_free) char *nothing = x_alloc(0);
    cr_expect(is_zero(bytes, 100) && is_zero(numbers, 25 * sizeof *numbers));
    cr_expect_str_eq(copy, "creek");
    cr_expect_str_eq(part, "cr");
    cr_expect_str_eq(printed, "s-007");
    cr_expect_not_null(nothing);
}

Test(memory, a_list_grows_one_by_one_and_keeps_its_items)
{
    size_t *items = NULL, count = 0, capacity = 0;
    for (; count < 1000; count++) {
        items = x_grow(items, count, &capacity, sizeof *items);
        cr_assert_gt(capacity, count);
        items[count] = count * 3;
    }
    for (size_t i = 0; i < count; i++)
        cr_assert_eq(items[i], i * 3);
    cr_expect_leq(capacity, 1024, "it doubles: %zu", capacity);
    free(items);
}

Test(memory, a_product_beyond_the_address_space_ends_the_process, .signal = SIGABRT)
{
    volatile size_t count = SIZE_MAX / 4;
    free(x_array(count, 8));
}

Test(memory, an_arena_product_beyond_the_address_space_ends_the_process, .signal = SIGABRT)
{
    struct arena *arena = arena_new();
    volatile size_t count = SIZE_MAX / 4;
    arena_array(arena, count, 8);
}

/* The block's head must not wrap the sum around to a few bytes. */
Test(memory, an_arena_piece_that_leaves_no_room_for_its_block_ends_the_process, .signal = SIGABRT)
{
    struct arena *arena = arena_new();
    volatile size_t size = SIZE_MAX - sizeof(max_align_t) + 1;
    arena_alloc(arena, size);
}

Test(memory, an_arena_piece_that_cannot_be_rounded_up_ends_the_process, .signal = SIGABRT)
{
    struct arena *arena = arena_new();
    volatile size_t size = SIZE_MAX;
    arena_alloc(arena, size);
}

struct piece {
    unsigned char *bytes;
    size_t size;
};

Test(memory, arena_pieces_are_zeroed_aligned_and_apart)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    enum { PIECES = 3000 };
    struct piece pieces[PIECES];
    uint64_t state = 11;
    for (int round = 0; round < 3; round++) {
        for (size_t i = 0; i < PIECES; i++) {
            pieces[i].size = i % 100 == 99 ? random_index(&state, 200000) : random_index(&state, 300);
            bool is_cleared = i % 7 != 0;
            pieces[i].bytes = is_cleared ? arena_alloc(arena, pieces[i].size) : arena_room(arena, pieces[i].size, 1);
            cr_assert_eq((uintptr_t)pieces[i].bytes % alignof(max_align_t), 0);
            cr_assert(!is_cleared || is_zero(pieces[i].bytes, pieces[i].size), "round %d: piece %zu", round, i);
            memset(pieces[i].bytes, (int)(i % 255 + 1), pieces[i].size);
        }
        for (size_t i = 0; i < PIECES; i++)
            for (size_t k = 0; k < pieces[i].size; k++)
                cr_assert_eq(pieces[i].bytes[k], i % 255 + 1, "piece %zu was overwritten", i);
        arena_reset(arena);
    }
}

Test(memory, an_arena_gives_back_what_it_does_not_need_after_a_reset)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    cr_expect_eq(arena_size(arena), 0);
    arena_alloc(arena, 1);
    size_t one_block = arena_size(arena);
    cr_expect_gt(one_block, 0);
    arena_alloc(arena, (size_t)64 << 20);
    cr_expect_geq(arena_size(arena), (size_t)64 << 20);
    arena_reset(arena);
    cr_expect_eq(arena_size(arena), one_block, "a huge block is not kept: %zu", arena_size(arena));
    arena_alloc(arena, 1);
    cr_expect_eq(arena_size(arena), one_block, "the kept block is used again");
}

Test(memory, an_arena_with_only_a_huge_block_is_empty_after_a_reset)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    arena_alloc(arena, (size_t)8 << 20);
    arena_reset(arena);
    cr_expect_eq(arena_size(arena), 0);
    cr_expect_str_eq(arena_strdup(arena, "again"), "again");
}

Test(memory, an_arena_reset_at_once_is_fine)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    arena_reset(arena);
    cr_expect_eq(arena_size(arena), 0);
    arena_free(NULL);
}

Test(memory, arena_texts_are_copies)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    char source[] = "estuary";
    char *copy = arena_strdup(arena, source), *part = arena_strndup(arena, source, 3);
    memset(source, '#', strlen(source));
    cr_expect_str_eq(copy, "estuary");
    cr_expect_str_eq(part, "est");
    cr_expect_str_eq(arena_printf(arena, "%s/%d", "a", 5), "a/5");
    CLEANUP(cleanup_free) char *wide = x_printf("%0*d", 100000, 0);
    cr_expect_eq(strlen(arena_printf(arena, "%s", wide)), 100000);
}

static int cleaned;
static void count_cleanup(int *value)
{
    cleaned += *value;
}

Test(memory, a_cleanup_runs_when_the_scope_is_left)
{
    for (int i = 1; i <= 3; i++) {
        CLEANUP(count_cleanup) int value = i;
        if (value == 2)
            continue;
    }
    cr_expect_eq(cleaned, 6);
}
