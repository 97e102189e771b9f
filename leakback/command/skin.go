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

// ends are the two ends of the questions: answers come from in, which types says is
// a terminal, and shows says whether prompts go to one.
func ends(env *environment) (in *os.File, types, shows bool) {
	in, _ = env.stdin.(*os.File)
	_, types = asTerminal(in)
	_, shows = asTerminal(env.stderr)
	return in, types, shows
}

// drawn says whether the questions are asked by a form: where both ends are a
// terminal that can be drawn on.
func (o *skinOptions) drawn(env *environment) bool {
	_, types, shows := ends(env)
	return types && shows && !o.still(env)
}

// still says that nothing is to be written over: somebody listens, or the terminal
// cannot.
func (o *skinOptions) still(env *environment) bool { return o.plain || env.getenv("TERM") == "dumb" }

// ask leads through the questions: by a form, else line by line.
func (o *skinOptions) ask(ctx context.Context, env *environment, f ask.Flow) error {
	in, types, shows := ends(env)
	s := screenOf(env.stderr, env.getenv)
	if o.drawn(env) {
		return formskin.Run(ctx, f, formskin.Options{In: in, Out: env.stderr, Color: s.color, Unicode: s.unicode, Bell: true})
	}
	return ask.Plain(ctx, f, env.stdin, env.stderr, ask.PlainOptions{
		Width: s.width, Unicode: s.unicode, Live: shows, Still: o.still(env), Bell: shows, Echo: !types})
}
