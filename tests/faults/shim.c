/* Stands between a program and the system for the files below one folder, for tests.
 *
 * Holds: the calls through which a file is opened, written, synced, renamed, linked or removed.
 * Each call on a path below FAULT_ROOM, or on a file that was opened there, is counted. The
 * call number FAULT_AT fails with FAULT_ERRNO (a number), or kills the process where that is
 * "kill"; with FAULT_ON=1 every later call fails as well. FAULT_LOG names a file that gets one
 * line a call. FAULT_OUTSIDE=1 logs, whatever the room, each file opened to be written and each
 * socket.
 * Does not hold: anything about plans, and reading, which damages nothing.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <signal.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <unistd.h>

#define REAL(name) ((typeof(&name))dlsym(RTLD_NEXT, #name))
#define MOST_FILES 1024

static atomic_int n_calls;
static atomic_bool is_ours[MOST_FILES];

/* Writes a line about a call, past everything that is counted. */
static void tell(const char *call, const char *path) {
    const char *log = getenv("FAULT_LOG");
    if (!log) return;
    char line[PATH_MAX + 64];
    int n = snprintf(line, sizeof line, "%s %s\n", call, path ? path : "");
    int to = REAL(open)(log, O_WRONLY | O_CREAT | O_APPEND, 0644);
    if (to < 0) return;
    ssize_t done = REAL(write)(to, line, n < (int)sizeof line ? (size_t)n : sizeof line);
    (void)done;
    REAL(close)(to);
}

static int is_in_room(const char *path) {
    const char *room = getenv("FAULT_ROOM");
    return room && path && strncmp(path, room, strlen(room)) == 0;
}

static int is_own_file(int file) { return file >= 0 && file < MOST_FILES && is_ours[file]; }

/* Counts a call; the errno it is to fail with, or 0. */
static int fault(const char *call, const char *path) {
    int at = ++n_calls;
    tell(call, path);
    const char *when = getenv("FAULT_AT"), *what = getenv("FAULT_ERRNO"), *on = getenv("FAULT_ON");
    if (!when || !what) return 0;
    int wanted = atoi(when);
    if (at != wanted && !(on && at > wanted)) return 0;
    if (strcmp(what, "kill") == 0) kill(getpid(), SIGKILL);
    return atoi(what);
}

#define FAIL_PATH(call, path)                                                                      \
    if (is_in_room(path)) {                                                                        \
        int wrong = fault(call, path);                                                             \
        if (wrong) { errno = wrong; return -1; }                                                   \
    }
#define FAIL_FILE(call, file)                                                                      \
    if (is_own_file(file)) {                                                                       \
        int wrong = fault(call, NULL);                                                             \
        if (wrong) { errno = wrong; return -1; }                                                   \
    }

static int opened(int file, const char *path) {
    if (file >= 0 && file < MOST_FILES) is_ours[file] = is_in_room(path);
    return file;
}

static void outside(const char *path, int flags) {
    if (getenv("FAULT_OUTSIDE") && (flags & (O_WRONLY | O_RDWR | O_CREAT))) tell("writes", path);
}

#define OPEN(name)                                                                                 \
    int name(const char *path, int flags, ...) {                                                   \
        mode_t mode = 0;                                                                           \
        if (flags & (O_CREAT | O_TMPFILE)) {                                                       \
            va_list rest;                                                                          \
            va_start(rest, flags);                                                                 \
            mode = va_arg(rest, mode_t);                                                           \
            va_end(rest);                                                                          \
        }                                                                                          \
        outside(path, flags);                                                                      \
        FAIL_PATH("open", path)                                                                    \
        return opened(REAL(name)(path, flags, mode), path);                                        \
    }
OPEN(open)
OPEN(open64)

int close(int file) {
    if (file >= 0 && file < MOST_FILES) is_ours[file] = 0;
    return REAL(close)(file);
}

ssize_t write(int file, const void *from, size_t size) {
    FAIL_FILE("write", file)
    return REAL(write)(file, from, size);
}

ssize_t writev(int file, const struct iovec *from, int n) {
    FAIL_FILE("writev", file)
    return REAL(writev)(file, from, n);
}

int fsync(int file) {
    FAIL_FILE("fsync", file)
    return REAL(fsync)(file);
}

int fdatasync(int file) {
    FAIL_FILE("fdatasync", file)
    return REAL(fdatasync)(file);
}

int ftruncate64(int file, off64_t size) {
    FAIL_FILE("ftruncate", file)
    return REAL(ftruncate64)(file, size);
}

int fchmod(int file, mode_t mode) {
    FAIL_FILE("fchmod", file)
    return REAL(fchmod)(file, mode);
}

int fchown(int file, uid_t user, gid_t group) {
    FAIL_FILE("fchown", file)
    return REAL(fchown)(file, user, group);
}

int rename(const char *from, const char *to) {
    FAIL_PATH("rename", from)
    return REAL(rename)(from, to);
}

int link(const char *from, const char *to) {
    FAIL_PATH("link", from)
    return REAL(link)(from, to);
}

int linkat(int from_folder, const char *from, int to_folder, const char *to, int flags) {
    FAIL_PATH("linkat", from)
    return REAL(linkat)(from_folder, from, to_folder, to, flags);
}

int unlink(const char *path) {
    FAIL_PATH("unlink", path)
    return REAL(unlink)(path);
}

int mkdir(const char *path, mode_t mode) {
    FAIL_PATH("mkdir", path)
    return REAL(mkdir)(path, mode);
}

int socket(int family, int kind, int protocol) {
    if (getenv("FAULT_OUTSIDE")) tell("socket", NULL);
    return REAL(socket)(family, kind, protocol);
}

int socketpair(int family, int kind, int protocol, int both[2]) {
    if (getenv("FAULT_OUTSIDE")) tell("socketpair", NULL);
    return REAL(socketpair)(family, kind, protocol, both);
}
