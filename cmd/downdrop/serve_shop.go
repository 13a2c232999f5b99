package main

import (
	"context"
	"path/filepath"
	"strings"

	"downdrop/cases"
	"downdrop/cases/postgres"
	"downdrop/cmd/internal/page"
	"downdrop/engine"
	"downdrop/rulebase"
)

// runsFolder is where the page keeps runs at the bench: beside the store where that is a
// file, else among the user's data.
func runsFolder(env *environment, flag, store string) (string, error) {
	if flag != "" {
		return flag, nil
	}
	name, err := storeName(env, store)
	if err != nil {
		return "", err
	}
	if !postgres.Is(name) {
		return filepath.Abs(strings.TrimSuffix(name, filepath.Ext(name)) + "-runs")
	}
	dir, err := dataFolder(env)
	return filepath.Join(dir, "downdrop", "runs"), err
}

// counter is what the page does of the shop's work.
func (p *pageDesk) counter(runs string) page.Counter {
	return page.Counter{
		Prepared: p.prepared, Runs: runs, Program: ourVersion(), Name: p.env.variable("DOWNDROP_SHOP"), By: p.writer.By,
		Write: func(ctx context.Context, key, by string, drafts ...cases.Draft) (*cases.Card, error) {
			d, err := p.at(ctx, rulebase.Bench)
			if err != nil {
				return nil, err
			}
			d.writer.By = by
			if _, err := d.writer.Write(ctx, cases.Subject{Kind: cases.AboutUnit, ID: key}, drafts...); err != nil {
				return nil, err
			}
			return cases.ReadUnit(ctx, d.store, key)
		},
	}
}

// pageDeskOf makes a desk that many requests use at once.
func pageDeskOf(d *desk) *pageDesk { return &pageDesk{desk: d, prepared: engine.Prepare(d.base)} }
