//go:build ignore

// Archive packs files into a .tar.gz or .zip whose bytes depend on nothing but
// the files, their names and one time, and prints its SHA-256 as sha256sum does:
//
//	go run .ci/archive.go UNIXTIME ARCHIVE FOLDER FILE...
//
// FOLDER is the folder that the archive unpacks to. The first file is the
// program, which may be run; the others may be read.
package main

import (
	"archive/tar"
	"archive/zip"
	"compress/gzip"
	"crypto/sha256"
	"fmt"
	"io"
	"io/fs"
	"log"
	"os"
	"path"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

// entry is one file of an archive.
type entry struct {
	name string
	mode fs.FileMode
	data []byte
}

func main() {
	log.SetFlags(0)
	if len(os.Args) < 5 {
		log.Fatal("usage: go run .ci/archive.go UNIXTIME ARCHIVE FOLDER FILE...")
	}
	if err := run(os.Args[1], os.Args[2], os.Args[3], os.Args[4:]); err != nil {
		log.Fatal("archive: ", err)
	}
}

func run(unix, to, folder string, files []string) error {
	seconds, err := strconv.ParseInt(unix, 10, 64)
	if err != nil {
		return fmt.Errorf("the time: %w", err)
	}
	var entries []entry
	for i, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			return err
		}
		e := entry{name: path.Join(folder, filepath.Base(file)), mode: 0o644, data: data}
		if i == 0 {
			e.mode = 0o755
		}
		entries = append(entries, e)
	}
	f, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	hash := sha256.New()
	pack := packTar
	if strings.HasSuffix(to, ".zip") {
		pack = packZip
	}
	if err := pack(io.MultiWriter(f, hash), entries, time.Unix(seconds, 0).UTC()); err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	_, err = fmt.Printf("%x  %s\n", hash.Sum(nil), filepath.Base(to))
	return err
}

func packTar(w io.Writer, entries []entry, at time.Time) error {
	zw, err := gzip.NewWriterLevel(w, gzip.BestCompression)
	if err != nil {
		return err
	}
	tw := tar.NewWriter(zw)
	for _, e := range entries {
		h := tar.Header{Name: e.name, Mode: int64(e.mode), Size: int64(len(e.data)), ModTime: at, Format: tar.FormatUSTAR}
		if err := tw.WriteHeader(&h); err != nil {
			return err
		}
		if _, err := tw.Write(e.data); err != nil {
			return err
		}
	}
	if err := tw.Close(); err != nil {
		return err
	}
	return zw.Close()
}

func packZip(w io.Writer, entries []entry, at time.Time) error {
	zw := zip.NewWriter(w)
	for _, e := range entries {
		h := zip.FileHeader{Name: e.name, Method: zip.Deflate, Modified: at}
		h.SetMode(e.mode)
		part, err := zw.CreateHeader(&h)
		if err != nil {
			return err
		}
		if _, err := part.Write(e.data); err != nil {
			return err
		}
	}
	return zw.Close()
}
