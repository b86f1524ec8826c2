#!/usr/bin/perl
# Sees when the program tells and shows something, by the guest's uptime in seconds: each new line of its log goes to
# /lab/seen/log with the time before it, and each new picture of the panel to a file /lab/seen/TIME. Ends when there is a
# file /lab/enough.

use strict;
use warnings;
use Time::HiRes qw(sleep);

sub contents {
    my ($file) = @_;
    open my $in, '<', $file or return '';
    local $/;
    my $text = <$in>;
    return defined $text ? $text : '';
}

sub now { return (split ' ', contents('/proc/uptime'))[0] }

mkdir '/lab/seen' or die "/lab/seen: $!";
open my $log, '<', '/lab/traylight.log' or die "/lab/traylight.log: $!";
open my $out, '>', '/lab/seen/log' or die "/lab/seen/log: $!";
$out->autoflush(1);
my ($shown, $line) = ('', '');
until (-e '/lab/enough') {
    while (sysread $log, my $more, 65536) {
        $line .= $more;
        my $time = now();
        while ($line =~ s/^([^\n]*)\n//) { print $out "$time $1\n" }
    }
    my $picture = contents('/lab/panel/picture');
    if ($picture ne $shown) {
        my $time = now();
        open my $keep, '>', "/lab/seen/part" or die "/lab/seen/part: $!";
        print $keep $picture;
        close $keep or die "/lab/seen/part: $!";
        rename '/lab/seen/part', "/lab/seen/$time" or die "/lab/seen/$time: $!";
        $shown = $picture;
    }
    sleep 0.01;
}
