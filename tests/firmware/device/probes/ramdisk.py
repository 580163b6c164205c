"""A flash chip in RAM for MicroPython's own littlefs: counts erases, loses power or fails where told."""

import vfs

BLOCK = 4096  # bytes, as the flash of the boards
MOUNT = "/ram"
EIO = 5


class RamDisk:
    """Blocks of bytes. The operation at which power goes is left half done; after it nothing answers."""

    def __init__(self, blocks, image=None):
        self.image = bytearray(image) if image else bytearray(b"\xff" * (BLOCK * blocks))
        self.erased = [0] * blocks
        self.operations = 0  # erases and writes
        self.cut_at = -1  # power goes at this operation
        self.fails_from = self.fails_to = -1  # these are refused, and nothing changes

    def _begin(self, count):
        """How many of an operation's bytes it gets done."""
        now = self.operations
        self.operations += 1
        if self.fails_from <= now < self.fails_to or 0 <= self.cut_at < now:
            return 0
        return count // 2 if now == self.cut_at else count

    def readblocks(self, block, buffer, offset=0):
        if 0 <= self.cut_at < self.operations:
            return -EIO
        at = block * BLOCK + offset
        buffer[:] = self.image[at : at + len(buffer)]
        return 0

    def writeblocks(self, block, buffer, offset=0):
        at = block * BLOCK + offset
        done = self._begin(len(buffer))
        for place in range(done):
            self.image[at + place] &= buffer[place]  # what is not erased only loses bits
        return 0 if done == len(buffer) else -EIO

    def ioctl(self, operation, block):
        if operation == 4:
            return len(self.image) // BLOCK
        if operation == 5:
            return BLOCK
        if operation == 6:
            at = block * BLOCK
            done = self._begin(BLOCK)
            self.image[at : at + done] = b"\xff" * done
            self.erased[block] += 1
            return 0 if done == BLOCK else -EIO
        return 0


def formatted(blocks):
    """A new disk with an empty file system."""
    disk = RamDisk(blocks)
    vfs.VfsLfs2.mkfs(disk)
    disk.operations = 0
    disk.erased = [0] * blocks
    return disk


def mount(disk):
    vfs.mount(vfs.VfsLfs2(disk), MOUNT)


def unmount():
    vfs.umount(MOUNT)
