package script

import (
	"fmt"
	"math"
	"math/big"

	"go.starlark.net/syntax"

	"paneglow/anim/finding"
)

// The fence stands between a script that someone wrote and the Starlark
// interpreter. It rewrites the syntax tree before it is compiled: operators,
// conditions and loops call guarded builtins (guard.go), which see a field
// where the language would see "some value, hence true", which charge what they
// cost to the thread's steps, and which know their place in the text. What the
// fence does not know it refuses, so that a construct added to the language
// later stays outside until someone has thought about it.

const (
	maxSource = 32 << 10 // bytes; a pattern of one idea has 1 to 2 KiB
	maxDepth  = 200      // of nested expressions
)

// Names that a script cannot write, so that it cannot shadow the guards.
const (
	guardTruth   = "$truth"
	guardIter    = "$each"
	guardIndex   = "$index"
	guardDeclare = "$control"
)

// guardOf names the builtin that stands for an operator.
var guardOf = map[syntax.Token]string{
	syntax.PLUS: "$+", syntax.MINUS: "$-", syntax.STAR: "$*", syntax.SLASH: "$/", syntax.SLASHSLASH: "$//",
	syntax.PERCENT: "$%", syntax.EQL: "$==", syntax.NEQ: "$!=", syntax.LT: "$<", syntax.LE: "$<=",
	syntax.GT: "$>", syntax.GE: "$>=", syntax.IN: "$in", syntax.NOT_IN: "$not in",
}

// augmented maps x op= y to its operator.
var augmented = map[syntax.Token]syntax.Token{
	syntax.PLUS_EQ: syntax.PLUS, syntax.MINUS_EQ: syntax.MINUS, syntax.STAR_EQ: syntax.STAR,
	syntax.SLASH_EQ: syntax.SLASH, syntax.SLASHSLASH_EQ: syntax.SLASHSLASH, syntax.PERCENT_EQ: syntax.PERCENT,
}

// controlKinds are the functions that declare a control at top level.
var controlKinds = map[string]bool{"number": true, "color": true, "choice": true, "toggle": true}

type fence struct {
	src   *source
	errs  finding.List
	depth int
}

func (f *fence) bad(p syntax.Position, fix, message string, args ...any) {
	f.errs = append(f.errs, f.src.err(placeOf(p), "fence", fmt.Sprintf(message, args...), fix))
}

func call(name string, p syntax.Position, args ...syntax.Expr) syntax.Expr {
	return &syntax.CallExpr{Fn: &syntax.Ident{NamePos: p, Name: name}, Lparen: p, Args: args, Rparen: p}
}

func text(s string, p syntax.Position) syntax.Expr {
	return &syntax.Literal{Token: syntax.STRING, TokenPos: p, Raw: fmt.Sprintf("%q", s), Value: s}
}

func start(e syntax.Node) syntax.Position {
	p, _ := e.Span()
	return p
}

// file rewrites a whole script.
func (f *fence) file(tree *syntax.File) {
	for _, s := range tree.Stmts {
		if a, ok := s.(*syntax.AssignStmt); ok && a.Op == syntax.EQ {
			f.control(a)
		}
	}
	f.block(tree.Stmts)
}

// control turns name = number(...) at top level into a declaration that knows
// its name.
func (f *fence) control(a *syntax.AssignStmt) {
	name, ok := a.LHS.(*syntax.Ident)
	if !ok {
		return
	}
	c, ok := a.RHS.(*syntax.CallExpr)
	if !ok {
		return
	}
	kind, ok := c.Fn.(*syntax.Ident)
	if !ok || !controlKinds[kind.Name] {
		return
	}
	p := kind.NamePos
	c.Args = append([]syntax.Expr{text(kind.Name, p), text(name.Name, name.NamePos)}, c.Args...)
	c.Fn = &syntax.Ident{NamePos: p, Name: guardDeclare}
}

func (f *fence) block(ss []syntax.Stmt) {
	for _, s := range ss {
		f.stmt(s)
	}
}

func (f *fence) stmt(s syntax.Stmt) {
	switch s := s.(type) {
	case *syntax.AssignStmt:
		f.assign(s)
	case *syntax.DefStmt:
		f.params(s.Params)
		f.block(s.Body)
	case *syntax.ExprStmt:
		s.X = f.expr(s.X)
	case *syntax.ForStmt:
		f.target(s.Vars)
		s.X = call(guardIter, start(s.X), f.expr(s.X))
		f.block(s.Body)
	case *syntax.IfStmt:
		s.Cond = f.truth(s.If, s.Cond)
		f.block(s.True)
		f.block(s.False)
	case *syntax.ReturnStmt:
		if s.Result != nil {
			s.Result = f.expr(s.Result)
		}
	case *syntax.BranchStmt:
	case *syntax.WhileStmt:
		f.bad(s.While, "write for i in range(n)", "a pattern has no while loop: its cost must be known")
	case *syntax.LoadStmt:
		f.bad(s.Load, "every function is there already", "a pattern loads nothing")
	default:
		f.bad(start(s), "", "this statement is not available in a pattern")
	}
}

func (f *fence) assign(s *syntax.AssignStmt) {
	s.RHS = f.expr(s.RHS)
	if s.Op == syntax.EQ {
		f.target(s.LHS)
		return
	}
	id, ok := s.LHS.(*syntax.Ident)
	op, known := augmented[s.Op]
	if !ok || !known {
		f.bad(s.OpPos, "write name = name + value", "%s works on a name and with + - * / // %% only", s.Op)
		return
	}
	s.RHS = call(guardOf[op], s.OpPos, &syntax.Ident{NamePos: id.NamePos, Name: id.Name}, s.RHS)
	s.Op = syntax.EQ
}

// target checks what is assigned to: names, and lists of names.
func (f *fence) target(e syntax.Expr) {
	switch e := e.(type) {
	case *syntax.Ident:
	case *syntax.ParenExpr:
		f.target(e.X)
	case *syntax.TupleExpr:
		for _, x := range e.List {
			f.target(x)
		}
	case *syntax.ListExpr:
		for _, x := range e.List {
			f.target(x)
		}
	case *syntax.IndexExpr:
		f.bad(e.Lbrack, "build a new list: [f(i) for i in range(n)]", "a pattern does not assign to an element")
	case *syntax.DotExpr:
		f.bad(e.Dot, "give the value a name of its own", "a pattern does not assign to a field")
	default:
		f.bad(start(e), "", "a pattern cannot assign to this")
	}
}

func (f *fence) params(ps []syntax.Expr) {
	for _, p := range ps {
		switch p := p.(type) {
		case *syntax.Ident:
		case *syntax.BinaryExpr: // name = default
			p.Y = f.expr(p.Y)
		default:
			f.bad(start(p), "name each parameter", "a pattern has no * parameters")
		}
	}
}

func (f *fence) truth(p syntax.Position, cond syntax.Expr) syntax.Expr {
	return call(guardTruth, p, f.expr(cond))
}

func (f *fence) expr(e syntax.Expr) syntax.Expr {
	f.depth++
	defer func() { f.depth-- }()
	if f.depth > maxDepth {
		if f.depth == maxDepth+1 {
			f.bad(start(e), "name the parts on lines of their own", "this expression is nested more than %d deep", maxDepth)
		}
		return e
	}
	switch e := e.(type) {
	case *syntax.Ident:
		return e
	case *syntax.Literal:
		f.literal(e)
		return e
	case *syntax.ParenExpr:
		return f.expr(e.X)
	case *syntax.BinaryExpr:
		x, y := f.expr(e.X), f.expr(e.Y)
		if e.Op == syntax.AND || e.Op == syntax.OR {
			return &syntax.BinaryExpr{X: call(guardTruth, e.OpPos, x), OpPos: e.OpPos, Op: e.Op, Y: call(guardTruth, e.OpPos, y)}
		}
		g, ok := guardOf[e.Op]
		if !ok {
			f.bad(e.OpPos, "", "a pattern has no operator %s", e.Op)
			return e
		}
		return call(g, e.OpPos, x, y)
	case *syntax.UnaryExpr:
		if e.X == nil {
			f.bad(e.OpPos, "", "a pattern has no %s here", e.Op)
			return e
		}
		switch x := f.expr(e.X); e.Op {
		case syntax.NOT:
			return &syntax.UnaryExpr{OpPos: e.OpPos, Op: e.Op, X: call(guardTruth, e.OpPos, x)}
		case syntax.MINUS:
			return call("$neg", e.OpPos, x)
		case syntax.PLUS:
			return call("$pos", e.OpPos, x)
		default:
			f.bad(e.OpPos, "", "a pattern has no operator %s", e.Op)
			return e
		}
	case *syntax.CondExpr:
		e.Cond, e.True, e.False = f.truth(e.If, e.Cond), f.expr(e.True), f.expr(e.False)
		return e
	case *syntax.CallExpr:
		return f.callExpr(e)
	case *syntax.DotExpr:
		e.X = f.expr(e.X)
		e.Dot = e.Name.NamePos
		if !attributes[e.Name.Name] {
			fix := "fields of at and now, .x .y .z of a vector, .r .g .b of light, .append of a list"
			if n := nearestName(e.Name.Name, attributeNames()); n != "" {
				fix = "write ." + n
			}
			f.bad(e.Name.NamePos, fix, "there is no .%s in a pattern", e.Name.Name)
		}
		return e
	case *syntax.IndexExpr:
		return call(guardIndex, e.Lbrack, f.expr(e.X), f.expr(e.Y))
	case *syntax.ListExpr:
		for i := range e.List {
			e.List[i] = f.expr(e.List[i])
		}
		return e
	case *syntax.TupleExpr:
		for i := range e.List {
			e.List[i] = f.expr(e.List[i])
		}
		return e
	case *syntax.Comprehension:
		return f.comprehension(e)
	case *syntax.LambdaExpr:
		f.params(e.Params)
		e.Body = f.expr(e.Body)
		return e
	case *syntax.DictExpr:
		f.bad(e.Lbrace, "use a list, or a function with if", "a pattern has no dictionaries")
	case *syntax.SliceExpr:
		f.bad(e.Lbrack, "write [x[i] for i in range(n)]", "a pattern has no slices")
	default:
		f.bad(start(e), "", "this expression is not available in a pattern")
	}
	return e
}

func (f *fence) callExpr(e *syntax.CallExpr) syntax.Expr {
	// Errors of a call point to the function's name.
	if d, ok := e.Fn.(*syntax.DotExpr); ok {
		e.Lparen = d.Name.NamePos
	} else {
		e.Lparen = start(e.Fn)
	}
	e.Fn = f.expr(e.Fn)
	for i, a := range e.Args {
		switch a := a.(type) {
		case *syntax.BinaryExpr:
			if a.Op == syntax.EQ { // name = value
				a.Y = f.expr(a.Y)
				continue
			}
		case *syntax.UnaryExpr:
			if a.Op == syntax.STAR || a.Op == syntax.STARSTAR {
				f.bad(a.OpPos, "write the arguments one by one", "a pattern has no * arguments")
				continue
			}
		}
		e.Args[i] = f.expr(a)
	}
	return e
}

func (f *fence) comprehension(e *syntax.Comprehension) syntax.Expr {
	if _, entry := syntax.Node(e.Body).(*syntax.DictEntry); entry || e.Curly {
		f.bad(start(e), "use a list", "a pattern has no dictionaries")
		return e
	}
	e.Body = f.expr(e.Body)
	for _, c := range e.Clauses {
		switch c := c.(type) {
		case *syntax.ForClause:
			f.target(c.Vars)
			c.X = call(guardIter, start(c.X), f.expr(c.X))
		case *syntax.IfClause:
			c.Cond = f.truth(c.If, c.Cond)
		default:
			f.bad(start(c), "", "this is not available in a pattern")
		}
	}
	return e
}

func (f *fence) literal(e *syntax.Literal) {
	switch v := e.Value.(type) {
	case *big.Int:
		f.bad(e.TokenPos, "", "whole numbers end at %d", int64(maxWhole))
	case int64:
		if v > maxWhole || v < -maxWhole {
			f.bad(e.TokenPos, "", "whole numbers end at %d", int64(maxWhole))
		}
	case float64:
		if math.IsInf(v, 0) || math.IsNaN(v) {
			f.bad(e.TokenPos, "", "this number is not finite")
		}
	}
	if e.Token == syntax.BYTES {
		f.bad(e.TokenPos, "", "a pattern has no bytes")
	}
}
