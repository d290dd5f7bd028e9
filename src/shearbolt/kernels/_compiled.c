/* The loops over every byte and every frame: candump text, grouping, decoding.
 *
 * No I/O and no state between calls; works on buffers that the caller made, without the
 * interpreter's lock, so that one thread can parse while another decodes. Stable ABI of CPython 3.11. Its twin in NumPy (twin.py, twin_text.py) gives equal results, bit for bit.
 * Least significant byte first machines only: elsewhere the twin runs.
 */
#define PY_SSIZE_T_CLEAN
#include <Python.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#if defined(__BYTE_ORDER__) && __BYTE_ORDER__ != __ORDER_LITTLE_ENDIAN__
#error "least significant byte first machines only; the NumPy twin serves the others"
#endif

/* value = raw * resolution + offset is rounded twice, as NumPy does: no fused operation. */
#if defined(__clang__)
#pragma STDC FP_CONTRACT OFF
#elif defined(__GNUC__)
#pragma GCC optimize("fp-contract=off")
#endif

/* The loops over numbers in a second copy for processors with wider registers, where the loader can
 * choose between copies. Not for fused operations: results stay the same, bit for bit. */
#if defined(__x86_64__) && defined(__gnu_linux__) && defined(__GLIBC__) && defined(__GNUC__) && \
    !defined(__clang__)
#define WIDER __attribute__((target_clones("default", "avx2")))
#else
#define WIDER
#endif

enum { EXTENDED = 1, REMOTE = 2, ERROR_FRAME = 4, SENT = 64 };
enum { NUMBER = 0, NOT_AVAILABLE = 1, ERROR_STATUS = 2, NO_NUMBER = 3 };
enum { HAS_NUMBER = 1, HAS_ABSENT = 2, OVERLAP = 4 };
enum { MAX_CHANNELS = 256, MAX_NAME = 15, MAX_SPACES = 8 };

/* No line of the fast forms is longer; parse_line may read this many bytes from its begin. */
enum { READABLE = 192 };

static inline uint64_t load8(const unsigned char *p) {
    uint64_t x;
    memcpy(&x, p, 8);
    return x;
}

/* ---- buffers ---- */

typedef struct {
    Py_buffer view;
    int held;
} Held;

static int hold(PyObject *object, Held *held, int writable, Py_ssize_t item, Py_ssize_t count,
                const char *what) {
    int flags = PyBUF_C_CONTIGUOUS | (writable ? PyBUF_WRITABLE : 0);
    if (PyObject_GetBuffer(object, &held->view, flags) < 0) return -1;
    held->held = 1;
    if (held->view.itemsize != item || (count >= 0 && held->view.len != item * count)) {
        PyErr_Format(PyExc_ValueError, "%s: %zd bytes of items of %zd, wanted %zd items of %zd", what,
                     held->view.len, held->view.itemsize, count, item);
        return -1;
    }
    return 0;
}

static void let_go(Held *held, int count) {
    for (int i = 0; i < count; i++)
        if (held[i].held) PyBuffer_Release(&held[i].view);
}

/* ---- candump text ---- */

/* Value of a hexadecimal digit; 0x80 for any other character. */
static uint8_t HEX[256];

typedef struct {
    int64_t time_us;
    uint64_t word;
    uint32_t ident;
    uint8_t flags, length;
    const unsigned char *name;
    int name_length;
    const unsigned char *middle; /* bracket behind the time, blanks, name, blanks */
    int middle_length;
} Line;

/* Seconds of the line before: most lines share them. */
typedef struct {
    unsigned char text[16];
    int digits;
    int64_t value;
} Seconds;

/* Checks and packs eight hexadecimal digits, first two to the lowest byte; *wrong collects. */
static inline uint64_t hex8(uint64_t x, uint64_t *wrong) {
    const uint64_t ones = 0x0101010101010101u;
    uint64_t letter = (x >> 6) & ones;
    uint64_t value = (x & 0x0F0F0F0F0F0F0F0Fu) + letter * 9;
    /* Written back in capitals the digit must be the character again; 16 and more are none. */
    uint64_t ten = ((value + ones * 6) >> 4) & ones;
    uint64_t again = value + ones * 0x30 + ten * 7;
    *wrong |= ((x & ~(letter << 5)) ^ again) | (value & ones * 0x10) | (x & ones * 0x80);
    value = (value << 4 | value >> 8) & 0x00FF00FF00FF00FFu;
    value = (value | value >> 8) & 0x0000FFFF0000FFFFu;
    return (value | value >> 16) & 0xFFFFFFFFu;
}

/* The four bytes of an identifier, first one highest. */
static inline uint32_t turned_round(uint64_t packed) {
    return (uint32_t)(packed << 24 & 0xFF000000u) | (uint32_t)(packed << 8 & 0xFF0000u) |
           (uint32_t)(packed >> 8 & 0xFF00u) | (uint32_t)(packed >> 24);
}

/* Reads "d.ffffff" without its first two characters; *wrong collects what is no digit. */
static inline int64_t micros(uint64_t x, uint64_t *wrong) {
    uint64_t value = ((x & ~(uint64_t)0xFFFF) | 0x3030) ^ 0x3030303030303030u;
    *wrong |= ((value + 0x7676767676767676u) | value) & 0x8080808080808080u;
    value = (value * 10 + (value >> 8)) & 0x00FF00FF00FF00FFu;
    value = (value * 100 + (value >> 16)) & 0x0000FFFF0000FFFFu;
    return (int64_t)((value * 10000 + (value >> 32)) & 0xFFFFFFFFu);
}

static inline const unsigned char *skip_spaces(const unsigned char *p) {
    for (int i = 0; i < MAX_SPACES && *p == ' '; i++) p++;
    return p;
}

/* Reads one line of the fast forms. Returns its end (behind the line feed), NULL if it is none. */
static const unsigned char *parse_line(const unsigned char *p, Line *line, Seconds *cache) {
    p = skip_spaces(p);
    if (*p++ != '(') return NULL;

    if (cache->digits && memcmp(p, cache->text, (size_t)cache->digits + 1) == 0) {
        p += cache->digits;
    } else {
        int64_t seconds = 0;
        int digits = 0;
        while (digits < 12 && (unsigned)(p[digits] - '0') < 10) {
            seconds = seconds * 10 + (p[digits] - '0');
            digits++;
        }
        if (!digits || p[digits] != '.') return NULL;
        memcpy(cache->text, p, (size_t)digits + 1);
        cache->digits = digits;
        cache->value = seconds;
        p += digits;
    }
    uint64_t wrong = 0;
    line->time_us = cache->value * 1000000 + micros(load8(p - 1), &wrong);
    if (wrong) return NULL;
    p += 7;
    line->middle = p;
    if (*p++ != ')' || *p != ' ') return NULL;

    p = skip_spaces(p);
    line->name = p;
    for (int i = 0; i < MAX_NAME && (unsigned)(*p - 0x21) < 0x5E; i++) p++;
    if (p == line->name || *p != ' ') return NULL;
    line->name_length = (int)(p - line->name);

    p = skip_spaces(p);
    line->middle_length = (int)(p - line->middle);
    uint64_t packed = hex8(load8(p), &wrong);
    if (!wrong) {
        line->ident = turned_round(packed);
        if (line->ident > 0x1FFFFFFFu) return NULL;
        line->flags = EXTENDED;
        p += 8;
    } else {
        uint8_t a = HEX[p[0]], b = HEX[p[1]], c = HEX[p[2]];
        if (((a | b | c) & 0x80) || a > 7) return NULL;
        line->ident = (uint32_t)a << 8 | (uint32_t)b << 4 | c;
        line->flags = 0;
        p += 3;
    }

    line->word = ~(uint64_t)0;
    if (*p == '#') {
        p++;
        uint64_t first = 0, second = 0;
        wrong = 0;
        first = hex8(load8(p), &wrong);
        if (!wrong) second = hex8(load8(p + 8), &wrong);
        if (!wrong) {
            line->word = first | second << 32;
            line->length = 8;
            p += 16;
        } else {
            int size = 0;
            while (size < 8) {
                uint8_t high = HEX[p[0]];
                if (high & 0x80) break;
                uint8_t low = HEX[p[1]];
                if (low & 0x80) return NULL;
                line->word &= ~((uint64_t)0xFF << (8 * size));
                line->word |= (uint64_t)(high << 4 | low) << (8 * size);
                size++;
                p += 2;
            }
            line->length = (uint8_t)size;
        }
        if (*p == ' ') {
            if (p[1] == 'T')
                line->flags |= SENT;
            else if (p[1] != 'R')
                return NULL;
            p += 2;
        }
    } else if (*p == ' ') {
        p = skip_spaces(p);
        if (p[0] != '[' || (unsigned)(p[1] - '0') > 8 || p[2] != ']') return NULL;
        int size = p[1] - '0';
        line->length = (uint8_t)size;
        p += 3;
        const unsigned char *before = p;
        p = skip_spaces(p);
        if (size) {
            if (p == before) return NULL;
            uint64_t word = 0;
            unsigned bad = 0;
            if (size == 8) {
                /* "AA BB CC DD EE FF GG HH": 23 characters. */
                static const int at[8] = {0, 3, 6, 9, 12, 15, 18, 21};
                for (int i = 0; i < 8; i++) {
                    unsigned high = HEX[p[at[i]]], low = HEX[p[at[i] + 1]];
                    bad |= high | low;
                    word |= (uint64_t)((high << 4 | low) & 0xFF) << (8 * i);
                }
                if (p[2] != ' ' || p[5] != ' ' || p[8] != ' ' || p[11] != ' ' || p[14] != ' ' ||
                    p[17] != ' ' || p[20] != ' ')
                    return NULL;
                if (bad & 0x80) return NULL;
                p += 23;
            } else {
                word = line->word;
                for (int i = 0; i < size; i++, p += 2) {
                    if (i && *p++ != ' ') return NULL;
                    uint8_t high = HEX[p[0]];
                    if (high & 0x80) return NULL;
                    uint8_t low = HEX[p[1]];
                    if (low & 0x80) return NULL;
                    word &= ~((uint64_t)0xFF << (8 * i));
                    word |= (uint64_t)(high << 4 | low) << (8 * i);
                }
            }
            line->word = word;
        }
        p = skip_spaces(p);
    } else {
        return NULL;
    }
    if (*p == '\r') p++;
    return *p == '\n' ? p + 1 : NULL;
}

/* What a line has in common with the one before: "(seconds." and the middle with its name. */
typedef struct {
    uint64_t first, last; /* first and last eight bytes of "seconds." */
    uint64_t middle[2], mask[2];
    int64_t seconds_us;
    int digits; /* 0: nothing known yet */
    int middle_length, channel;
} Before;

/* Keeps what the next line may share with this one, `seconds` being those it was read with. */
static void remember(Before *before, const Line *line, const Seconds *seconds, int channel) {
    before->digits = 0;
    if (seconds->digits < 7 || line->middle_length > 16) return;
    unsigned char middle[16] = {0}, mask[16] = {0};
    memcpy(middle, line->middle, (size_t)line->middle_length);
    memset(mask, 0xFF, (size_t)line->middle_length);
    for (int i = 0; i < 2; i++) {
        before->middle[i] = load8(middle + 8 * i);
        before->mask[i] = load8(mask + 8 * i);
    }
    before->first = load8(seconds->text);
    before->last = load8(seconds->text + seconds->digits + 1 - 8);
    before->seconds_us = seconds->value * 1000000;
    before->digits = seconds->digits;
    before->middle_length = line->middle_length;
    before->channel = channel;
}

/* Reads the most usual of lines, "(seconds.micros) name ID#DATA", 29 bits and eight bytes, where
 * seconds and middle are those of the line before. Returns its end, NULL for any other. */
static inline const unsigned char *parse_like(const unsigned char *p, Line *line,
                                              const Before *before) {
    const unsigned char *point = p + 1 + before->digits;
    const unsigned char *middle = point + 7, *ident = middle + before->middle_length;
    if (!before->digits || *p != '(' || load8(p + 1) != before->first ||
        load8(point - 7) != before->last ||
        ((load8(middle) ^ before->middle[0]) & before->mask[0]) ||
        ((load8(middle + 8) ^ before->middle[1]) & before->mask[1]) || ident[8] != '#' ||
        ident[25] != '\n')
        return NULL;
    uint64_t wrong = 0;
    line->time_us = before->seconds_us + micros(load8(point - 1), &wrong);
    line->ident = turned_round(hex8(load8(ident), &wrong));
    uint64_t low = hex8(load8(ident + 9), &wrong), high = hex8(load8(ident + 17), &wrong);
    if (wrong || line->ident > 0x1FFFFFFFu) return NULL;
    line->word = low | high << 32;
    line->flags = EXTENDED;
    line->length = 8;
    return ident + 26;
}

/* Copies, so that they can be read without the interpreter's lock. */
typedef struct {
    unsigned char name[MAX_CHANNELS][MAX_NAME];
    int length[MAX_CHANNELS];
    int count, last;
} Names;

static int is_name(const Names *names, int i, const Line *line) {
    return names->length[i] == line->name_length &&
           memcmp(names->name[i], line->name, (size_t)line->name_length) == 0;
}

/* Index of the line's channel; -1 when it is not among the names. */
static int channel_of(const Line *line, Names *names) {
    if (names->last >= 0 && is_name(names, names->last, line)) return names->last;
    for (int i = 0; i < names->count; i++) {
        if (is_name(names, i, line)) {
            names->last = i;
            return i;
        }
    }
    return -1;
}

static void add_name(Names *names, const void *text, Py_ssize_t length) {
    /* No line of the fast forms has a longer name: its length alone tells it apart. */
    int some = length > MAX_NAME ? MAX_NAME : (int)length;
    memcpy(names->name[names->count], text, (size_t)some);
    names->length[names->count++] = length > MAX_NAME ? MAX_NAME + 1 : (int)length;
}

static int known_names(PyObject *list, Names *names) {
    names->count = 0;
    names->last = -1;
    if (!PyList_Check(list) || PyList_Size(list) > MAX_CHANNELS) {
        PyErr_SetString(PyExc_ValueError, "channels: a list of at most 256 names");
        return -1;
    }
    for (Py_ssize_t i = 0; i < PyList_Size(list); i++) {
        char *text;
        Py_ssize_t size;
        if (PyBytes_AsStringAndSize(PyList_GetItem(list, i), &text, &size) < 0) return -1;
        add_name(names, text, size);
    }
    return 0;
}

/* Appends the names met since the list had `before` of them. */
static int tell_names(PyObject *list, const Names *names, int before) {
    for (int i = before; i < names->count; i++) {
        PyObject *fresh = PyBytes_FromStringAndSize((const char *)names->name[i], names->length[i]);
        if (!fresh) return -1;
        int failed = PyList_Append(list, fresh);
        Py_DECREF(fresh); /* the list holds it */
        if (failed) return -1;
    }
    return 0;
}

typedef struct {
    int64_t *time_us;
    uint32_t *ident;
    uint8_t *flags, *channel, *length;
    uint64_t *word;
    Py_ssize_t room;
} Rows;

/* Where reading stopped; row -1: there was no memory to go on. */
typedef struct {
    Py_ssize_t at, row;
} Reached;

/* Lines left to the careful parser: begin, end and row of each. */
typedef struct {
    int64_t *line;
    size_t count, room;
} Odd;

static int keep_odd(Odd *odd, int64_t begin, int64_t end, int64_t row) {
    if (odd->count == odd->room) {
        size_t room = odd->room ? 4 * odd->room : 64;
        int64_t *more = realloc(odd->line, room * 3 * sizeof *more);
        if (!more) return -1;
        odd->line = more;
        odd->room = room;
    }
    int64_t *line = odd->line + 3 * odd->count++;
    line[0] = begin;
    line[1] = end;
    line[2] = row;
    return 0;
}

static inline void put(const Rows *to, Py_ssize_t row, const Line *line, int channel) {
    to->time_us[row] = line->time_us;
    to->ident[row] = line->ident;
    to->flags[row] = line->flags;
    to->channel[row] = (uint8_t)channel;
    to->length[row] = line->length;
    to->word[row] = line->word;
}

static Reached read_lines(const unsigned char *text, Py_ssize_t at, Py_ssize_t stop, const Rows *to,
                          Py_ssize_t row, Odd *odd, Names *names) {
    Seconds cache = {{0}, 0, 0};
    Before before;
    memset(&before, 0, sizeof before);
    Line line;
    unsigned char tail[READABLE];
    while (row < to->room && at < stop) {
        const unsigned char *p = text + at, *end;
        if (stop - at >= READABLE) {
            end = parse_like(p, &line, &before);
            if (end) {
                put(to, row, &line, before.channel);
                at += end - p;
                row++;
                continue;
            }
            end = parse_line(p, &line, &cache);
        } else {
            memset(tail, 0, sizeof tail);
            memcpy(tail, p, (size_t)(stop - at));
            end = parse_line(tail, &line, &cache);
            p = tail;
        }
        if (end) {
            int number = channel_of(&line, names);
            if (number < 0 && names->count < MAX_CHANNELS) {
                add_name(names, line.name, line.name_length);
                names->last = number = names->count - 1;
            }
            if (number >= 0) {
                put(to, row, &line, number);
                remember(&before, &line, &cache, number);
                at += end - p;
                row++;
                continue;
            }
        }
        const unsigned char *feed = memchr(text + at, '\n', (size_t)(stop - at));
        if (!feed) break;
        to->time_us[row] = 0;
        to->ident[row] = 0;
        to->flags[row] = to->channel[row] = to->length[row] = 0;
        to->word[row] = 0;
        if (keep_odd(odd, at, feed - text, row) < 0) {
            row = -1;
            break;
        }
        row++;
        at = feed - text + 1;
    }
    Reached reached = {at, row};
    return reached;
}

/* parse_candump(text, start, stop, time_us, ident, flags, channel, length, word, channels, first_row)
 * -> (rows, used, odd): odd comes as bytes of 64-bit numbers, three for each line. */
static PyObject *parse_candump(PyObject *self, PyObject *args) {
    (void)self;
    PyObject *object[7], *list;
    Py_ssize_t start, stop, first_row;
    if (!PyArg_ParseTuple(args, "OnnOOOOOOOn", &object[0], &start, &stop, &object[1], &object[2],
                          &object[3], &object[4], &object[5], &object[6], &list, &first_row))
        return NULL;
    Held held[7];
    memset(held, 0, sizeof held);
    PyObject *result = NULL;
    Names names;
    Odd odd = {NULL, 0, 0};

    if (hold(object[0], &held[0], 0, 1, -1, "text") < 0) goto done;
    if (hold(object[1], &held[1], 1, 8, -1, "time_us") < 0) goto done;
    Py_ssize_t room = held[1].view.len / 8;
    if (hold(object[2], &held[2], 1, 4, room, "ident") < 0) goto done;
    if (hold(object[3], &held[3], 1, 1, room, "flags") < 0) goto done;
    if (hold(object[4], &held[4], 1, 1, room, "channel") < 0) goto done;
    if (hold(object[5], &held[5], 1, 1, room, "length") < 0) goto done;
    if (hold(object[6], &held[6], 1, 8, room, "word") < 0) goto done;
    if (start < 0 || start > stop || stop > held[0].view.len || first_row < 0 || first_row > room) {
        PyErr_Format(PyExc_ValueError, "text[%zd:%zd] of %zd bytes into rows %zd to %zd", start, stop,
                     held[0].view.len, first_row, room);
        goto done;
    }
    if (known_names(list, &names) < 0) goto done;

    Rows to = {held[1].view.buf, held[2].view.buf, held[3].view.buf, held[4].view.buf,
               held[5].view.buf, held[6].view.buf, room};
    int before = names.count;
    Reached reached;
    Py_BEGIN_ALLOW_THREADS
    reached = read_lines(held[0].view.buf, start, stop, &to, first_row, &odd, &names);
    Py_END_ALLOW_THREADS
    if (reached.row < 0) {
        PyErr_NoMemory();
        goto done;
    }
    if (tell_names(list, &names, before) == 0)
        result = Py_BuildValue("nny#", reached.row - first_row, reached.at,
                               odd.line ? (const char *)odd.line : "",
                               (Py_ssize_t)(odd.count * 3 * sizeof *odd.line));
done:
    free(odd.line);
    let_go(held, 7);
    return result;
}

/* ---- grouping ---- */

/* Open addressing, by a key of channel and identifier; grows, so that any input is linear.
 * Grouping runs without the interpreter's lock, and so takes its memory from malloc. */
typedef struct {
    uint64_t *key;
    int32_t *group;
    size_t mask;
} Table;

static size_t slot_of(const Table *table, uint64_t key) {
    size_t at = (size_t)(key * 0x9E3779B97F4A7C15u >> 32) & table->mask;
    while (table->group[at] >= 0 && table->key[at] != key) at = (at + 1) & table->mask;
    return at;
}

static int table_make(Table *table, size_t size) {
    table->key = malloc(size * sizeof *table->key);
    table->group = malloc(size * sizeof *table->group);
    table->mask = size - 1;
    if (!table->key || !table->group) return -1;
    memset(table->group, 0xFF, size * sizeof *table->group);
    return 0;
}

static int table_grow(Table *table) {
    Table bigger = {NULL, NULL, 0};
    if (table_make(&bigger, (table->mask + 1) * 4) < 0) {
        free(bigger.key);
        free(bigger.group);
        return -1;
    }
    for (size_t i = 0; i <= table->mask; i++) {
        if (table->group[i] < 0) continue;
        size_t at = slot_of(&bigger, table->key[i]);
        bigger.key[at] = table->key[i];
        bigger.group[at] = table->group[i];
    }
    free(table->key);
    free(table->group);
    *table = bigger;
    return 0;
}

typedef struct {
    uint64_t key;
    int64_t count;
    int32_t group;
} Group;

static int by_key(const void *a, const void *b) {
    uint64_t x = ((const Group *)a)->key, y = ((const Group *)b)->key;
    return (x > y) - (x < y);
}

typedef struct {
    Table table;
    Group *group;
    size_t count, room;
    int32_t *place;
} Grouping;

/* Gives every frame its group's place among the groups sorted by key; -1 without memory. */
static int mark_groups(Grouping *all, const uint32_t *ident, const uint8_t *flags,
                       const uint8_t *channel, int32_t *index, Py_ssize_t n) {
    Table *table = &all->table;
    all->room = 256;
    all->group = malloc(all->room * sizeof *all->group);
    if (!all->group || table_make(table, 1024) < 0) return -1;
    for (Py_ssize_t i = 0; i < n; i++) {
        if ((flags[i] & (EXTENDED | REMOTE | ERROR_FRAME)) != EXTENDED) {
            index[i] = -1;
            continue;
        }
        uint32_t id = ident[i];
        uint32_t kept = (id & 0x00FF0000u) < 0x00F00000u ? id & 0x03FF00FFu : id & 0x03FFFFFFu;
        uint64_t key = (uint64_t)channel[i] << 26 | kept;
        size_t at = slot_of(table, key);
        if (table->group[at] < 0) {
            if (all->count == all->room) {
                Group *more = realloc(all->group, 2 * all->room * sizeof *all->group);
                if (!more) return -1;
                all->group = more;
                all->room *= 2;
            }
            Group fresh = {key, 0, (int32_t)all->count};
            all->group[all->count] = fresh;
            table->key[at] = key;
            table->group[at] = (int32_t)all->count;
            all->count++;
            if (all->count * 2 > table->mask) {
                if (table_grow(table) < 0) return -1;
                at = slot_of(table, key);
            }
        }
        index[i] = table->group[at];
        all->group[index[i]].count++;
    }
    qsort(all->group, all->count, sizeof *all->group, by_key);
    all->place = malloc((all->count + 1) * sizeof *all->place);
    if (!all->place) return -1;
    for (size_t g = 0; g < all->count; g++) all->place[all->group[g].group] = (int32_t)g;
    for (Py_ssize_t i = 0; i < n; i++)
        if (index[i] >= 0) index[i] = all->place[index[i]];
    return 0;
}

/* group_mark(ident, flags, channel, index) -> (keys, starts): fills index with each row's place in
 * the sorted groups (-1: left out); keys and starts come as bytes of 64-bit numbers. */
static PyObject *group_mark(PyObject *self, PyObject *args) {
    (void)self;
    PyObject *object[4];
    if (!PyArg_ParseTuple(args, "OOOO", &object[0], &object[1], &object[2], &object[3])) return NULL;
    Held held[4];
    memset(held, 0, sizeof held);
    PyObject *result = NULL, *keys = NULL, *starts = NULL;
    Grouping all;
    memset(&all, 0, sizeof all);

    if (hold(object[0], &held[0], 0, 4, -1, "ident") < 0) goto done;
    Py_ssize_t n = held[0].view.len / 4;
    if (hold(object[1], &held[1], 0, 1, n, "flags") < 0) goto done;
    if (hold(object[2], &held[2], 0, 1, n, "channel") < 0) goto done;
    if (hold(object[3], &held[3], 1, 4, n, "index") < 0) goto done;
    if (n > INT32_MAX) {
        PyErr_SetString(PyExc_ValueError, "more than 2**31 frames at a time");
        goto done;
    }
    int failed;
    Py_BEGIN_ALLOW_THREADS
    failed = mark_groups(&all, held[0].view.buf, held[1].view.buf, held[2].view.buf,
                         held[3].view.buf, n);
    Py_END_ALLOW_THREADS
    if (!failed) {
        keys = PyBytes_FromStringAndSize(NULL, (Py_ssize_t)(all.count * 8));
        starts = PyBytes_FromStringAndSize(NULL, (Py_ssize_t)((all.count + 1) * 8));
    }
    if (!keys || !starts) {
        PyErr_NoMemory();
        goto done;
    }
    uint64_t *key_out = (uint64_t *)PyBytes_AsString(keys);
    int64_t *start_out = (int64_t *)PyBytes_AsString(starts);
    int64_t sum = 0;
    for (size_t g = 0; g < all.count; g++) {
        key_out[g] = all.group[g].key;
        start_out[g] = sum;
        sum += all.group[g].count;
    }
    start_out[all.count] = sum;
    result = PyTuple_Pack(2, keys, starts);
done:
    free(all.table.key);
    free(all.table.group);
    free(all.group);
    free(all.place);
    Py_XDECREF(keys);
    Py_XDECREF(starts);
    let_go(held, 4);
    return result;
}

/* group_move(index, starts, time_us, word, order_out, time_out, word_out): moves rows to their
 * groups, in order; starts (int64, writable copy of what group_mark gave) is used up. */
static PyObject *group_move(PyObject *self, PyObject *args) {
    (void)self;
    PyObject *object[7];
    if (!PyArg_ParseTuple(args, "OOOOOOO", &object[0], &object[1], &object[2], &object[3], &object[4],
                          &object[5], &object[6]))
        return NULL;
    Held held[7];
    memset(held, 0, sizeof held);
    PyObject *result = NULL;
    if (hold(object[0], &held[0], 0, 4, -1, "index") < 0) goto done;
    Py_ssize_t n = held[0].view.len / 4;
    if (hold(object[1], &held[1], 1, 8, -1, "starts") < 0) goto done;
    Py_ssize_t count = held[1].view.len / 8 - 1;
    if (hold(object[2], &held[2], 0, 8, n, "time_us") < 0) goto done;
    if (hold(object[3], &held[3], 0, 8, n, "word") < 0) goto done;
    int64_t *next = held[1].view.buf;
    Py_ssize_t kept = count >= 0 ? (Py_ssize_t)next[count] : 0;
    if (hold(object[4], &held[4], 1, 8, kept, "order") < 0) goto done;
    if (hold(object[5], &held[5], 1, 8, kept, "time_us out") < 0) goto done;
    if (hold(object[6], &held[6], 1, 8, kept, "word out") < 0) goto done;
    const int32_t *index = held[0].view.buf;
    const int64_t *time_us = held[2].view.buf;
    const uint64_t *word = held[3].view.buf;
    int64_t *order_out = held[4].view.buf, *time_out = held[5].view.buf;
    uint64_t *word_out = held[6].view.buf;
    int wrong = 0;
    Py_BEGIN_ALLOW_THREADS
    for (Py_ssize_t i = 0; i < n; i++) {
        int32_t g = index[i];
        if (g < 0) continue;
        if (g >= count || next[g] < 0 || next[g] >= kept) {
            wrong = 1;
            break;
        }
        int64_t to = next[g]++;
        order_out[to] = i;
        time_out[to] = time_us[i];
        word_out[to] = word[i];
    }
    Py_END_ALLOW_THREADS
    if (wrong) {
        PyErr_SetString(PyExc_ValueError, "index and starts are not of one grouping");
        goto done;
    }
    Py_INCREF(Py_None);
    result = Py_None;
done:
    let_go(held, 7);
    return result;
}

/* ---- decoding ---- */

typedef struct {
    uint64_t mask, top, error_low, error_high, absent, kinds, reserved[2];
    unsigned first;
    double resolution, offset;
} Rule;

typedef struct {
    int64_t count[4];
    uint64_t low, high; /* of the raw values that are numbers */
} Seen;

static inline int status_of(uint64_t raw, const Rule *rule) {
    if (raw >= rule->error_low && raw <= rule->error_high) return ERROR_STATUS;
    if ((rule->kinds & HAS_ABSENT) && raw >= rule->absent) return NOT_AVAILABLE;
    if (raw < 128 && (rule->reserved[raw >> 6] >> (raw & 63) & 1)) return NO_NUMBER;
    return (rule->kinds & HAS_NUMBER) && raw <= rule->top ? NUMBER : NO_NUMBER;
}

/* Parameters of up to 31 bits, a stretch at a time that fits the first cache: almost always a
 * stretch is all numbers or all 'not available', and the loops for those are plain. */
enum { STRETCH = 512 };
/* Numbers a row of LayoutTable.whole. */
enum { WHOLE = 9 };
enum { FEW_VALUES = 4096 };

WIDER static void decode_narrow(const uint64_t *word, Py_ssize_t n, const Rule *rule, double *value,
                          uint8_t *status, Seen *seen, double nan) {
    int32_t raw[STRETCH];
    const double resolution = rule->resolution, offset = rule->offset;
    const uint32_t mask = (uint32_t)rule->mask;
    const unsigned first = rule->first;
    for (size_t from = 0; from < (size_t)n; from += STRETCH) {
        const size_t left = (size_t)n - from, size = left < STRETCH ? left : STRETCH;
        const uint64_t *w = word + from;
        double *v = value + from;
        uint8_t *s = status + from;
        int32_t low = INT32_MAX, high = 0;
        for (size_t i = 0; i < size; i++) raw[i] = (int32_t)((uint32_t)(w[i] >> first) & mask);
        for (size_t i = 0; i < size; i++) {
            low = raw[i] < low ? raw[i] : low;
            high = raw[i] > high ? raw[i] : high;
        }
        uint64_t kinds = rule->kinds & OVERLAP ? 0 : rule->kinds;
        if ((kinds & HAS_NUMBER) && (uint64_t)high <= rule->top) {
            for (size_t i = 0; i < size; i++) v[i] = (double)raw[i] * resolution + offset;
            memset(s, NUMBER, size);
            seen->count[NUMBER] += (int64_t)size;
            if ((uint64_t)low < seen->low) seen->low = (uint64_t)low;
            if ((uint64_t)high > seen->high) seen->high = (uint64_t)high;
        } else if ((kinds & HAS_ABSENT) && (uint64_t)low >= rule->absent) {
            for (size_t i = 0; i < size; i++) v[i] = nan;
            memset(s, NOT_AVAILABLE, size);
            seen->count[NOT_AVAILABLE] += (int64_t)size;
        } else {
            for (size_t i = 0; i < size; i++) {
                uint64_t one = (uint64_t)raw[i];
                int state = status_of(one, rule);
                s[i] = (uint8_t)state;
                seen->count[state]++;
                if (state == NUMBER) {
                    v[i] = (double)raw[i] * resolution + offset;
                    if (one < seen->low) seen->low = one;
                    if (one > seen->high) seen->high = one;
                } else {
                    v[i] = nan;
                }
            }
        }
    }
}

static void decode_wide(const uint64_t *word, Py_ssize_t n, const Rule *rule, double *value,
                        uint8_t *status, Seen *seen, double nan) {
    for (Py_ssize_t i = 0; i < n; i++) {
        uint64_t raw = (word[i] >> rule->first) & rule->mask;
        int state = status_of(raw, rule);
        status[i] = (uint8_t)state;
        seen->count[state]++;
        if (state == NUMBER) {
            value[i] = (double)raw * rule->resolution + rule->offset;
            if (raw < seen->low) seen->low = raw;
            if (raw > seen->high) seen->high = raw;
        } else {
            value[i] = nan;
        }
    }
}

/* Decodes one parameter; `whole` and `real` are its rows of LayoutTable. */
static void decode_one(const uint64_t *word, Py_ssize_t n, const uint64_t *whole, const double *real,
                       double *value, uint8_t *status, int64_t *counts, double *low, double *high,
                       double nan) {
    Rule rule = {whole[1], whole[2], whole[3], whole[4], whole[5], whole[6], {whole[7], whole[8]},
                 (unsigned)(whole[0] & 63), real[0], real[1]};
    Seen seen = {{0, 0, 0, 0}, UINT64_MAX, 0};
    if (rule.mask <= INT32_MAX)
        decode_narrow(word, n, &rule, value, status, &seen, nan);
    else
        decode_wide(word, n, &rule, value, status, &seen, nan);
    memcpy(counts, seen.count, sizeof seen.count);
    *low = *high = nan;
    if (seen.count[NUMBER]) {
        double a = (double)seen.low * rule.resolution + rule.offset;
        double b = (double)seen.high * rule.resolution + rule.offset;
        *low = a < b ? a : b;
        *high = a < b ? b : a;
    }
}

/* decode(word, whole, real, value, status, counts, low, high, nan); shapes as in interface.py. */
static PyObject *decode(PyObject *self, PyObject *args) {
    (void)self;
    PyObject *object[8];
    double nan;
    if (!PyArg_ParseTuple(args, "OOOOOOOOd", &object[0], &object[1], &object[2], &object[3],
                          &object[4], &object[5], &object[6], &object[7], &nan))
        return NULL;
    Held held[8];
    memset(held, 0, sizeof held);
    PyObject *result = NULL;
    if (hold(object[0], &held[0], 0, 8, -1, "word") < 0) goto done;
    Py_ssize_t n = held[0].view.len / 8;
    if (hold(object[1], &held[1], 0, 8, -1, "whole") < 0) goto done;
    Py_ssize_t k = held[1].view.len / (WHOLE * 8);
    if (hold(object[2], &held[2], 0, 8, 2 * k, "real") < 0) goto done;
    if (hold(object[3], &held[3], 1, 8, k * n, "value") < 0) goto done;
    if (hold(object[4], &held[4], 1, 1, k * n, "status") < 0) goto done;
    if (hold(object[5], &held[5], 1, 8, 4 * k, "counts") < 0) goto done;
    if (hold(object[6], &held[6], 1, 8, k, "low") < 0) goto done;
    if (hold(object[7], &held[7], 1, 8, k, "high") < 0) goto done;
    const uint64_t *word = held[0].view.buf, *whole = held[1].view.buf;
    const double *real = held[2].view.buf;
    double *value = held[3].view.buf, *low = held[6].view.buf, *high = held[7].view.buf;
    uint8_t *status = held[4].view.buf;
    int64_t *counts = held[5].view.buf;
    /* A few samples take less time than another thread's turn with the lock. */
    PyThreadState *thread = k * n > FEW_VALUES ? PyEval_SaveThread() : NULL;
    for (Py_ssize_t i = 0; i < k; i++)
        decode_one(word, n, whole + WHOLE * i, real + 2 * i, value + i * n, status + i * n,
                   counts + 4 * i, low + i, high + i, nan);
    if (thread) PyEval_RestoreThread(thread);
    Py_INCREF(Py_None);
    result = Py_None;
done:
    let_go(held, 8);
    return result;
}

static PyMethodDef methods[] = {
    {"parse_candump", parse_candump, METH_VARARGS, "Whole lines of candump text to columns."},
    {"group_mark", group_mark, METH_VARARGS, "Tell each frame's group."},
    {"group_move", group_move, METH_VARARGS, "Move frames to their groups."},
    {"decode", decode, METH_VARARGS, "Words of one group to physical values."},
    {NULL, NULL, 0, NULL},
};

static struct PyModuleDef module = {
    PyModuleDef_HEAD_INIT, "_compiled", "See _compiled.c and interface.py.", -1, methods, NULL, NULL, NULL, NULL,
};

PyMODINIT_FUNC PyInit__compiled(void) {
    memset(HEX, 0x80, sizeof HEX);
    for (int i = 0; i < 10; i++) HEX['0' + i] = (uint8_t)i;
    for (int i = 0; i < 6; i++) HEX['A' + i] = HEX['a' + i] = (uint8_t)(10 + i);
    return PyModule_Create(&module);
}
