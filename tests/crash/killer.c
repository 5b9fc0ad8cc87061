/* Kills its own process by SIGKILL right before the n-th call that changes a file below a folder.
 *
 * Loaded by LD_PRELOAD, it stands before the C library's calls that write, flush, rename, remove, cut and make
 * files: Python's and SQLite's alike, whichever thread makes them. `killer_arm` starts the count; every call
 * counted is noted in a file as `NAME PATH`. With `torn`, a write that is to be the last is half done.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/types.h>
#include <unistd.h>

static char root[4096];
static long at, seen;
static int notes = -1, torn;

void killer_arm(const char *folder, long number, int half, int note_to) {
    snprintf(root, sizeof root, "%s", folder);
    at = number, seen = 0, torn = half, notes = note_to;
}

/* Whether a call is the one before which to die; it is noted if it concerns the folder. */
static int last(const char *name, const char *path) {
    char line[8192];
    if (notes < 0 || strncmp(path, root, strlen(root)) != 0) return 0;
    long number = __atomic_add_fetch(&seen, 1, __ATOMIC_SEQ_CST);
    const char *inside = path + strlen(root);
    int length = snprintf(line, sizeof line, "%s %s\n", name, *inside ? inside + 1 : ".");
    syscall(SYS_write, notes, line, (size_t)length);
    return number == at;
}

static void die(void) { kill(getpid(), SIGKILL); for (;;) pause(); }

static int last_of(const char *name, int descriptor) {
    char link[64], path[4096];
    if (notes < 0) return 0;
    snprintf(link, sizeof link, "/proc/self/fd/%d", descriptor);
    ssize_t length = readlink(link, path, sizeof path - 1);
    if (length < 0) return 0;
    path[length] = 0;
    return last(name, path);
}

#define REAL(name) __typeof__(&name) real = (__typeof__(&name))dlsym(RTLD_NEXT, #name)

ssize_t write(int d, const void *data, size_t n) {
    REAL(write);
    if (last_of("write", d)) { if (torn) real(d, data, n / 2); die(); }
    return real(d, data, n);
}
ssize_t pwrite(int d, const void *data, size_t n, off_t o) {
    REAL(pwrite);
    if (last_of("write", d)) { if (torn) real(d, data, n / 2, o); die(); }
    return real(d, data, n, o);
}
ssize_t pwrite64(int d, const void *data, size_t n, off64_t o) {
    REAL(pwrite64);
    if (last_of("write", d)) { if (torn) real(d, data, n / 2, o); die(); }
    return real(d, data, n, o);
}
int fsync(int d) { REAL(fsync); if (last_of("flush", d)) die(); return real(d); }
int fdatasync(int d) { REAL(fdatasync); if (last_of("flush", d)) die(); return real(d); }
int ftruncate(int d, off_t n) { REAL(ftruncate); if (last_of("cut", d)) die(); return real(d, n); }
int ftruncate64(int d, off64_t n) { REAL(ftruncate64); if (last_of("cut", d)) die(); return real(d, n); }
int posix_fallocate(int d, off_t o, off_t n) {
    REAL(posix_fallocate); if (last_of("allocate", d)) die(); return real(d, o, n);
}
int posix_fallocate64(int d, off64_t o, off64_t n) {
    REAL(posix_fallocate64); if (last_of("allocate", d)) die(); return real(d, o, n);
}
int rename(const char *old, const char *new) { REAL(rename); if (last("rename", new)) die(); return real(old, new); }
int unlink(const char *path) { REAL(unlink); if (last("remove", path)) die(); return real(path); }
int mkdir(const char *path, mode_t mode) { REAL(mkdir); if (last("folder", path)) die(); return real(path, mode); }
