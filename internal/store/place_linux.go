package store

import "syscall"

// networkShare asks the kernel which kind of file system a folder is on. The
// numbers are those of statfs(2) and of linux/magic.h. FUSE is not among them: it is
// as often a disk of this machine, and connect looks whether the log works there.
func networkShare(folder string) string {
	var s syscall.Statfs_t
	if err := syscall.Statfs(folder, &s); err != nil {
		return ""
	}
	return shareName(uint32(s.Type)) // signed on some machines, and 32 bits long on others
}

func shareName(kind uint32) string {
	switch kind {
	case 0x6969:
		return "NFS"
	case 0x517B, 0xFF534D42, 0xFE534D42:
		return "SMB"
	case 0x01021997:
		return "9P, a folder of the machine around this one"
	case 0x00C36400:
		return "Ceph"
	case 0x5346414F, 0x6B414653:
		return "AFS"
	case 0x73757245:
		return "Coda"
	case 0x564C:
		return "NCP"
	case 0x0BD00BD0:
		return "Lustre"
	}
	return ""
}
