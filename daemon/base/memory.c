/* SPDX-License-Identifier: MIT */
#include "base/memory.h"

#include <malloc.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define BLOCK_SIZE ((size_t)64 * 1024)
#define KEEP_LIMIT ((size_t)4 * 1024 * 1024) /* a larger block is given back at a reset: an idle service stays small   \
                                              */

struct block {
    struct block *next;
    size_t used, size;
    max_align_t bytes[];
};

struct arena {
    struct block *blocks; /* newest first */
    size_t total;
};

static _Noreturn void out_of_memory(size_t size);
static void *take(struct arena *arena, size_t size);
static size_t checked_product(size_t count, size_t size);
static char *print(char *(*room)(struct arena *, size_t), struct arena *arena, const char *format, va_list arguments);
static char *room_from_heap(struct arena *arena, size_t size);
static char *room_from_arena(struct arena *arena, size_t size);

void memory_keep_at_hand(void)
{
    enum { LARGEST_KEPT = 32 << 20, MOST_KEPT = 256 << 20 };
    mallopt(M_MMAP_THRESHOLD, LARGEST_KEPT);
    mallopt(M_TRIM_THRESHOLD, MOST_KEPT);
}

void *x_alloc(size_t size)
{
    void *memory = calloc(1, size ? size : 1);
    if (!memory)
        out_of_memory(size);
    return memory;
}

void *x_array(size_t count, size_t size)
{
    return x_alloc(checked_product(count, size));
}

void *x_resize(void *memory, size_t count, size_t size)
{
    size_t bytes = checked_product(count, size);
    void *moved = realloc(memory, bytes ? bytes : 1);
    if (!moved)
        out_of_memory(bytes);
    return moved;
}

char *x_strdup(const char *text)
{
    return x_strndup(text, strlen(text));
}

char *x_strndup(const char *text, size_t length)
{
    char *copy = x_alloc(length + 1);
    memcpy(copy, text, length);
    return copy;
}

char *x_printf(const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    char *text = print(room_from_heap, NULL, format, arguments);
    va_end(arguments);
    return text;
}

void *x_grow(void *items, size_t count, size_t *capacity, size_t size)
{
    if (count < *capacity)
        return items;
    *capacity = *capacity ? *capacity * 2 : 8;
    return x_resize(items, *capacity, size);
}

struct arena *arena_new(void)
{
    return x_alloc(sizeof(struct arena));
}

void arena_free(struct arena *arena)
{
    if (!arena)
        return;
    while (arena->blocks) {
        struct block *next = arena->blocks->next;
        free(arena->blocks);
        arena->blocks = next;
    }
    free(arena);
}

void arena_reset(struct arena *arena)
{
    struct block *kept = NULL;
    for (struct block *block = arena->blocks; block;) {
        struct block *next = block->next;
        if (!kept && block->size <= KEEP_LIMIT)
            kept = block;
        else
            free(block);
        block = next;
    }
    arena->blocks = kept;
    arena->total = kept ? kept->size : 0;
    if (kept) {
        kept->next = NULL;
        kept->used = 0;
    }
}

void *arena_alloc(struct arena *arena, size_t size)
{
    return memset(take(arena, size), 0, size);
}

void *arena_array(struct arena *arena, size_t count, size_t size)
{
    return arena_alloc(arena, checked_product(count, size));
}

void *arena_room(struct arena *arena, size_t count, size_t size)
{
    return take(arena, checked_product(count, size));
}

char *arena_strdup(struct arena *arena, const char *text)
{
    return arena_strndup(arena, text, strlen(text));
}

char *arena_strndup(struct arena *arena, const char *text, size_t length)
{
    char *copy = arena_alloc(arena, length + 1);
    memcpy(copy, text, length);
    return copy;
}

char *arena_printf(struct arena *arena, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    char *text = print(room_from_arena, arena, format, arguments);
    va_end(arguments);
    return text;
}

size_t arena_size(const struct arena *arena)
{
    return arena->total;
}

void cleanup_free(void *pointer_to_pointer)
{
    void *memory;
    memcpy(&memory, pointer_to_pointer, sizeof memory);
    free(memory);
}

void cleanup_arena(struct arena **arena)
{
    arena_free(*arena);
}

static void *take(struct arena *arena, size_t size)
{
    size_t rounded = (size + sizeof(max_align_t) - 1) / sizeof(max_align_t) * sizeof(max_align_t);
    if (rounded < size)
        out_of_memory(size);
    struct block *block = arena->blocks;
    if (!block || block->size - block->used < rounded) {
        size_t wanted = rounded > BLOCK_SIZE ? rounded : BLOCK_SIZE, with_head;
        block = __builtin_add_overflow(sizeof *block, wanted, &with_head) ? NULL : malloc(with_head);
        if (!block)
            out_of_memory(wanted);
        *block = (struct block){.next = arena->blocks, .size = wanted};
        arena->blocks = block;
        arena->total += wanted;
    }
    void *memory = (char *)block->bytes + block->used;
    block->used += rounded;
    return memory;
}

static _Noreturn void out_of_memory(size_t size)
{
    fprintf(stderr, "<2>rillward: out of memory (%zu bytes wanted): ending, committed data are safe\n", size);
    abort();
}

static size_t checked_product(size_t count, size_t size)
{
    size_t product;
    if (__builtin_mul_overflow(count, size, &product))
        out_of_memory(SIZE_MAX);
    return product;
}

static char *print(char *(*room)(struct arena *, size_t), struct arena *arena, const char *format, va_list arguments)
{
    va_list again;
    va_copy(again, arguments);
    int length = vsnprintf(NULL, 0, format, arguments);
    size_t size = length < 0 ? 1 : (size_t)length + 1;
    char *text = room(arena, size);
    if (length >= 0)
        vsnprintf(text, size, format, again);
    va_end(again);
    return text;
}

static char *room_from_heap(struct arena *arena, size_t size)
{
    (void)arena; /* same shape as its sibling */
    return x_alloc(size);
}

static char *room_from_arena(struct arena *arena, size_t size)
{
    return arena_alloc(arena, size);
}
