package command

import (
	"context"
	"os"

	"github.com/spf13/pflag"

	"leakback/leakback/entry/ask"
	formskin "leakback/leakback/entry/ask/screen"
)

// skinOptions say how questions are asked.
type skinOptions struct {
	plain bool
}

func (o *skinOptions) addFlags(f *pflag.FlagSet) {
	f.BoolVar(&o.plain, "plain", false, "ask line by line, without a form (for pipes and screen readers)")
}

// ask leads through the questions: a form where both ends are a terminal, else
// line by line.
func (o *skinOptions) ask(ctx context.Context, env *environment, f ask.Flow) error {
	in, inOK := env.stdin.(*os.File)
	if inOK {
		_, inOK = asTerminal(in)
	}
	_, outOK := asTerminal(env.stderr)
	dumb := env.getenv("TERM") == "dumb"
	if inOK && outOK && !o.plain && !dumb {
		s := screenOf(env.stderr, env.getenv)
		return formskin.Run(ctx, f, formskin.Options{In: in, Out: env.stderr, Color: s.color, Unicode: s.unicode, Bell: true})
	}
	s := screenOf(env.stderr, env.getenv)
	return ask.Plain(ctx, f, env.stdin, env.stderr, ask.PlainOptions{Width: s.width, Live: outOK && !dumb, Bell: outOK, Echo: !inOK})
}
