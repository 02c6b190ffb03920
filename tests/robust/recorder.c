/* Writes down everything that a process does to the files below RECORD_ROOT, in order, into the file RECORD_LOG.

   Built by the tests with gcc and put before a process with LD_PRELOAD; what it wrote is replayed by power_cuts.py.
   One record: operation (1 byte), inode (8), offset or size (8), length (4), then that many bytes. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/uio.h>
#include <unistd.h>

#define MOST_FDS 4096
enum { UNKNOWN, OURS, FOREIGN };
static unsigned char known[MOST_FDS];
static char root[4096];
static size_t root_len;
static int log_fd = -1;
static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;

__attribute__((constructor)) static void begin(void) {
    const char *at = getenv("RECORD_ROOT"), *to = getenv("RECORD_LOG");
    if (!at || !to) return;
    snprintf(root, sizeof root, "%s", at);
    root_len = strlen(root);
    log_fd = (int)syscall(SYS_openat, AT_FDCWD, to, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
}

static int ours(int fd) {
    if (log_fd < 0 || fd < 0 || fd >= MOST_FDS || fd == log_fd) return 0;
    if (known[fd] == UNKNOWN) {
        char link[64], path[4096];
        snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
        ssize_t n = readlink(link, path, sizeof path - 1);
        known[fd] = n >= (ssize_t)root_len && !strncmp(path, root, root_len) ? OURS : FOREIGN;
    }
    return known[fd] == OURS;
}

static void note(char op, uint64_t inode, int64_t offset, const void *data, uint32_t length) {
    char head[21];
    head[0] = op;
    memcpy(head + 1, &inode, 8);
    memcpy(head + 9, &offset, 8);
    memcpy(head + 17, &length, 4);
    struct iovec parts[2] = {{head, sizeof head}, {(void *)data, length}};
    ssize_t done = syscall(SYS_writev, log_fd, parts, length ? 2 : 1);
    if (done != (ssize_t)(sizeof head + length)) abort();
}

static uint64_t inode_of(int fd, int *directory) {
    struct stat at;
    if (fstat(fd, &at)) abort();
    if (directory) *directory = S_ISDIR(at.st_mode);
    return at.st_ino;
}

static int below(const char *path) { return log_fd >= 0 && !strncmp(path, root, root_len); }

#define REAL(type, name, ...) \
    static type (*real)(__VA_ARGS__); \
    if (!real) real = (type(*)(__VA_ARGS__))dlsym(RTLD_NEXT, name)

static void opened(int fd, const char *path, int flags) {
    if (fd < 0 || fd >= MOST_FDS) return;
    known[fd] = UNKNOWN;
    if (!below(path) || !ours(fd)) return;
    uint64_t inode = inode_of(fd, 0);
    if (flags & O_CREAT) note('C', inode, 0, path, (uint32_t)strlen(path));
    if (flags & O_TRUNC) note('T', inode, 0, 0, 0);
}

#define OPEN(name) \
    int name(const char *path, int flags, ...) { \
        REAL(int, #name, const char *, int, ...); \
        va_list more; va_start(more, flags); int mode = va_arg(more, int); va_end(more); \
        pthread_mutex_lock(&lock); \
        int fd = real(path, flags, mode); \
        opened(fd, path, flags); \
        pthread_mutex_unlock(&lock); \
        return fd; \
    }
OPEN(open)
OPEN(open64)

int openat(int at, const char *path, int flags, ...) {
    REAL(int, "openat", int, const char *, int, ...);
    va_list more; va_start(more, flags); int mode = va_arg(more, int); va_end(more);
    pthread_mutex_lock(&lock);
    int fd = real(at, path, flags, mode);
    opened(fd, path, flags);
    pthread_mutex_unlock(&lock);
    return fd;
}

int close(int fd) {
    REAL(int, "close", int);
    if (fd >= 0 && fd < MOST_FDS) known[fd] = UNKNOWN;
    return real(fd);
}

/* A call and its note are one step: the log has the order in which the system took them. */
#define NOTED(result, call, op, offset, data, length) \
    pthread_mutex_lock(&lock); \
    int mine = ours(fd); \
    result = call; \
    if (mine && result >= 0) note(op, inode_of(fd, 0), offset, data, (uint32_t)(length)); \
    pthread_mutex_unlock(&lock)

#define PWRITE(name, offset_t) \
    ssize_t name(int fd, const void *data, size_t length, offset_t offset) { \
        REAL(ssize_t, #name, int, const void *, size_t, offset_t); \
        ssize_t done; \
        NOTED(done, real(fd, data, length, offset), 'W', offset, data, done); \
        return done; \
    }
PWRITE(pwrite, off_t)
PWRITE(pwrite64, off64_t)

ssize_t write(int fd, const void *data, size_t length) {
    REAL(ssize_t, "write", int, const void *, size_t);
    ssize_t done;
    NOTED(done, real(fd, data, length), 'W', lseek(fd, 0, SEEK_CUR) - done, data, done);
    return done;
}

/* Nothing under test uses these; were it to, the replay would be wrong and must not pass unseen. */
ssize_t writev(int fd, const struct iovec *parts, int count) {
    if (ours(fd)) abort();
    return syscall(SYS_writev, fd, parts, count);
}
ssize_t pwritev(int fd, const struct iovec *parts, int count, off_t offset) {
    if (ours(fd)) abort();
    return syscall(SYS_pwritev, fd, parts, count, offset, 0);
}

/* Whoever copies within the kernel falls back to reading and writing when the kernel cannot. */
ssize_t sendfile(int out, int in, off_t *offset, size_t count) {
    REAL(ssize_t, "sendfile", int, int, off_t *, size_t);
    if (!ours(out)) return real(out, in, offset, count);
    errno = ENOTSOCK;
    return -1;
}
ssize_t sendfile64(int out, int in, off64_t *offset, size_t count) {
    REAL(ssize_t, "sendfile64", int, int, off64_t *, size_t);
    if (!ours(out)) return real(out, in, offset, count);
    errno = ENOTSOCK;
    return -1;
}

#define TRUNCATE(name, offset_t) \
    int name(int fd, offset_t size) { \
        REAL(int, #name, int, offset_t); \
        int done; \
        NOTED(done, real(fd, size), 'T', size, 0, 0); \
        return done; \
    }
TRUNCATE(ftruncate, off_t)
TRUNCATE(ftruncate64, off64_t)

#define SYNC(name) \
    int name(int fd) { \
        REAL(int, #name, int); \
        pthread_mutex_lock(&lock); \
        int mine = ours(fd), directory = 0, done = real(fd); \
        if (mine && !done) { \
            uint64_t inode = inode_of(fd, &directory); \
            note(directory ? 'D' : 'S', inode, 0, 0, 0); \
        } \
        pthread_mutex_unlock(&lock); \
        return done; \
    }
SYNC(fsync)
SYNC(fdatasync)

int unlink(const char *path) {
    REAL(int, "unlink", const char *);
    pthread_mutex_lock(&lock);
    int done = real(path);
    if (!done && below(path)) note('U', 0, 0, path, (uint32_t)strlen(path));
    pthread_mutex_unlock(&lock);
    return done;
}

int link(const char *from, const char *to) {
    REAL(int, "link", const char *, const char *);
    pthread_mutex_lock(&lock);
    int done = real(from, to);
    struct stat at;
    if (!done && below(to) && !stat(to, &at)) note('C', at.st_ino, 0, to, (uint32_t)strlen(to));
    pthread_mutex_unlock(&lock);
    return done;
}

int rename(const char *from, const char *to) {
    REAL(int, "rename", const char *, const char *);
    char both[8192];
    pthread_mutex_lock(&lock);
    int done = real(from, to);
    if (!done && below(from)) {
        int length = snprintf(both, sizeof both, "%s\n%s", from, to);
        note('R', 0, 0, both, (uint32_t)length);
    }
    pthread_mutex_unlock(&lock);
    return done;
}
