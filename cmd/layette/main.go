// Command layette runs a studio's recipes over its models.
package main

import (
	"context"
	"io"
	"os"
)

func main() {
	os.Exit(run(context.Background(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

// run is the whole program but for the process: it returns the exit code.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	ctx, stop := interruptible(ctx)
	defer stop()
	a := newApp(stdin, stdout, stderr)
	root := newRootCmd(a)
	root.SetArgs(args)
	return a.exitCode(ctx, root.ExecuteContext(ctx))
}
