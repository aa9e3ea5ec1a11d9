package meshio

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"strconv"
	"unsafe"
)

// source is a file being read from front to back.
type source struct {
	ctx  context.Context
	r    io.ReaderAt
	size int64
	at   int64 // where the next byte comes from
}

// Read reads on, and ends early when the context is done.
func (s *source) Read(p []byte) (int, error) {
	if s.ctx.Err() != nil {
		return 0, context.Cause(s.ctx)
	}
	if s.at >= s.size {
		return 0, io.EOF
	}
	p = p[:min(int64(len(p)), s.size-s.at)]
	n, err := s.r.ReadAt(p, s.at)
	s.at += int64(n)
	if n == len(p) || (err == io.EOF && n > 0) {
		err = nil
	}
	return n, err
}

// endsLine reports whether the last byte of the file ends a line.
func (s *source) endsLine() bool {
	var last [1]byte
	n, _ := s.r.ReadAt(last[:], s.size-1)
	return n == 1 && (last[0] == '\n' || last[0] == '\r')
}

// lines gives a text file line by line, each as its words. Lines end with LF,
// CR LF, or CR alone if the file has no LF near its beginning.
type lines struct {
	scan  *bufio.Scanner
	n     int    // number of the line in words, from 1
	text  []byte // the line
	words [][]byte
}

func newLines(s *source) *lines {
	buf := bufio.NewReaderSize(s, 1<<16)
	head, _ := buf.Peek(1 << 16)
	return linesOf(buf, s.size, endOfLine(head))
}

func endOfLine(head []byte) byte {
	if bytes.IndexByte(head, '\n') < 0 && bytes.IndexByte(head, '\r') >= 0 {
		return '\r'
	}
	return '\n'
}

func linesOf(r io.Reader, size int64, end byte) *lines {
	l := &lines{scan: bufio.NewScanner(r)}
	l.scan.Buffer(make([]byte, 1<<16), int(size)+1)
	l.scan.Split(func(data []byte, atEOF bool) (int, []byte, error) {
		if i := bytes.IndexByte(data, end); i >= 0 {
			return i + 1, data[:i], nil
		}
		if atEOF && len(data) > 0 {
			return len(data), data, nil
		}
		return 0, nil, nil
	})
	return l
}

// next moves on to the next line and reports whether there is one.
func (l *lines) next() bool {
	if !l.scan.Scan() {
		return false
	}
	l.n++
	l.text = l.scan.Bytes()
	l.words = appendWords(l.words[:0], l.text)
	return true
}

// nextWords moves on to the next line that has words.
func (l *lines) nextWords() bool {
	for l.next() {
		if len(l.words) > 0 {
			return true
		}
	}
	return false
}

// err tells why next said no: nil at the end of the file.
func (l *lines) err() error { return l.scan.Err() }

func (l *lines) errorf(format string, args ...any) error {
	return fmt.Errorf("line %d: "+format, append([]any{l.n}, args...)...)
}

func appendWords(words [][]byte, line []byte) [][]byte {
	for i := 0; i < len(line); {
		for i < len(line) && line[i] <= ' ' {
			i++
		}
		start := i
		for i < len(line) && line[i] > ' ' {
			i++
		}
		if i > start {
			words = append(words, line[start:i])
		}
	}
	return words
}

// number reads a decimal number. NaN and infinities are numbers here.
func number(word []byte) (float64, error) {
	x, err := strconv.ParseFloat(unsafe.String(unsafe.SliceData(word), len(word)), 64)
	if err == nil || isRange(err) {
		return x, nil
	}
	if bytes.IndexByte(word, ',') >= 0 {
		return 0, fmt.Errorf("%q has a decimal comma: export again with decimal points", short(word))
	}
	return 0, fmt.Errorf("%q is not a number", short(word))
}

func isRange(err error) bool {
	n, ok := err.(*strconv.NumError)
	return ok && n.Err == strconv.ErrRange
}

// whole reads a whole number.
func whole(word []byte) (int64, error) {
	x, err := strconv.ParseInt(unsafe.String(unsafe.SliceData(word), len(word)), 10, 64)
	if err != nil {
		return 0, fmt.Errorf("%q is not a whole number", short(word))
	}
	return x, nil
}

// short returns word for a message.
func short(word []byte) string {
	if len(word) > 40 {
		return string(word[:40]) + "…"
	}
	return string(word)
}
